#!/usr/bin/env python3
"""Takes the plan drawing out of a job sheet, as an SVG file that stands alone.

usage: .ci/picture.py SHEET.html PICTURE.svg

The job sheet keeps its colours in the page's style sheet; the picture gets the rules of the
drawing and the light colours with it, on the sheet's paper. Nothing is redrawn.
"""
import re
import sys

sheet = open(sys.argv[1], encoding="utf-8").read()
style = "\n".join(line for line in sheet.splitlines() if line.startswith(".drawing"))
colours = dict(re.findall(r"--(paper|ink|soft|faint|signal|on-signal|material):(#[0-9a-f]+)", sheet.split("@media")[0]))
style = re.sub(r"var\(--([a-z-]+)\)", lambda m: colours[m.group(1)], style)
plan = re.search(r'<svg class="drawing plan".*?</svg>', sheet, re.S)
if plan is None:
    sys.exit(f"{sys.argv[1]}: no plan drawing in this page")
text = plan.group(0)
x, y, width, height = re.search(r'viewBox="([^"]+)"', text).group(1).split()
head_end = text.index(">") + 1
head = text[:head_end].replace(">", f' width="{6 * float(width):.0f}" height="{6 * float(height):.0f}">')
font = 'text{font-family:"Helvetica Neue",Arial,"Liberation Sans",sans-serif}'
paper = f'<rect x="{x}" y="{y}" width="{width}" height="{height}" fill="{colours["paper"]}"/>'
with open(sys.argv[2], "w", encoding="utf-8") as out:
    out.write(f"{head}\n<style>\n{font}\n{style}\n</style>\n{paper}{text[head_end:]}\n")
