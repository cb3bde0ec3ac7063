"""Runs the notebook from clean and keeps the executed copy as a page.

    execute.py NOTEBOOK FLEET OUT    writes OUT/fleet.html and its plots OUT/plot-N.png

Fails where a cell fails, warns, is too long to read, or leaves a plot out.
"""
import base64
import os
import sys

import nbformat
from nbclient import NotebookClient
from nbconvert import HTMLExporter

notebook, fleet, out = sys.argv[1:]
os.environ["ROWEN_FLEET"] = os.path.abspath(fleet)
book = nbformat.read(notebook, as_version=4)
MOST_LINES, WIDEST = 20, 118  # of a cell: more is hard to follow (our choice)
PLOTS = 8

for number, cell in enumerate(book.cells):
    if cell.cell_type != "code":
        continue
    if cell.outputs or cell.execution_count:
        sys.exit(f"FAILED: cell {number} is kept with its outputs: clear them before committing")
    lines = cell.source.splitlines()
    if len(lines) > MOST_LINES or max(map(len, lines)) > WIDEST:
        sys.exit(f"FAILED: cell {number} has more than {MOST_LINES} lines, or one of more than {WIDEST} characters")
NotebookClient(book, timeout=120, kernel_name="python3", resources={"metadata": {"path": out}}).execute()

plots = [o.data["image/png"] for c in book.cells if c.cell_type == "code" for o in c.outputs if "image/png" in o.get("data", {})]
for n, plot in enumerate(plots, 1):
    with open(os.path.join(out, f"plot-{n}.png"), "wb") as f:
        f.write(base64.b64decode(plot))
with open(os.path.join(out, "fleet.html"), "w", encoding="utf-8") as f:
    f.write(HTMLExporter().from_notebook_node(book)[0])
warned = [o.text for c in book.cells if c.cell_type == "code" for o in c.outputs if o.get("name") == "stderr"]
if len(plots) != PLOTS or warned:
    sys.exit(f"FAILED: {len(plots)} plots, {PLOTS} wanted; warnings: {warned}")
print(f"{len(book.cells)} cells, {len(plots)} plots")
