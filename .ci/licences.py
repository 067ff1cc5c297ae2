#!/usr/bin/env python3
"""Refuses a dependency whose licence is not permissive.

Reads `cargo metadata`; every package that the lock file names, for whatever platform, counts. An
expression passes when one way through its ANDs and ORs uses allowed licences only.
"""

import json
import re
import subprocess
import sys

ALLOWED = {
    "0BSD", "Apache-2.0", "Apache-2.0 WITH LLVM-exception", "BSD-2-Clause", "BSD-3-Clause", "BSL-1.0", "CC0-1.0",
    "ISC", "MIT", "MIT-0", "Unicode-3.0", "Unlicense", "Zlib",
}


def allowed(expression):
    """Whether an SPDX expression (or the older form with slashes) can be met."""
    tokens = re.findall(r"[()]|[^\s()]+", expression.replace("/", " OR "))
    value, rest = either(tokens)
    if rest:
        raise ValueError(f"cannot read the licence expression '{expression}'")
    return value


def either(tokens):
    value, tokens = both(tokens)
    while tokens[:1] == ["OR"]:
        other, tokens = both(tokens[1:])
        value = value or other
    return value, tokens


def both(tokens):
    value, tokens = one(tokens)
    while tokens[:1] == ["AND"]:
        other, tokens = one(tokens[1:])
        value = value and other
    return value, tokens


def one(tokens):
    if tokens[:1] == ["("]:
        value, tokens = either(tokens[1:])
        if tokens[:1] != [")"]:
            raise ValueError("a parenthesis is not closed")
        return value, tokens[1:]
    name = " ".join(tokens[:3]) if tokens[1:2] == ["WITH"] else "".join(tokens[:1])
    return name in ALLOWED, tokens[3:] if tokens[1:2] == ["WITH"] else tokens[1:]


def check_myself():
    for expression, expected in {
        "MIT": True, "GPL-3.0": False, "MIT OR GPL-3.0": True, "MIT AND GPL-3.0": False, "MIT/Apache-2.0": True,
        "(GPL-2.0 OR MIT) AND Zlib": True, "(GPL-2.0 OR MIT) AND AGPL-3.0": False, "": False,
        "Apache-2.0 WITH LLVM-exception OR GPL-2.0": True,
    }.items():
        if allowed(expression) != expected:
            sys.exit(f"licences: this check is wrong about '{expression}'")


def main():
    check_myself()
    run = subprocess.run(["cargo", "metadata", "--format-version", "1", "--locked"], stdout=subprocess.PIPE, check=True)
    packages = json.loads(run.stdout)["packages"]
    bad = [f"{p['name']} {p['version']}: {p['license'] or 'no licence named'}" for p in packages
           if not allowed(p["license"] or "")]
    print("\n".join(bad + [f"licences: {len(packages)} packages, {len(bad)} not allowed"]))
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
