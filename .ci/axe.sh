#!/usr/bin/env bash
# Fetches axe-core, the accessibility audit that tests/browser.rs runs inside the preview. It stays under
# target/ and is never shipped.
set -euo pipefail
cd "$(dirname "$0")/.."
version=4.10.3
folder=target/outside/axe
[ -f "$folder/package/axe.min.js" ] && exit 0
command -v npm >/dev/null || { echo "axe: there is no npm here; the accessibility audit is left out"; exit 0; }
mkdir -p "$folder"
cd "$folder"
npm pack --silent "axe-core@$version" >/dev/null 2>"$PWD/npm.log" ||
    { echo "axe: axe-core cannot be fetched ($(tail -n 1 npm.log)); the accessibility audit is left out"; exit 0; }
tar -xzf "axe-core-$version.tgz"
