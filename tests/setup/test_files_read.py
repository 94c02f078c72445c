"""Which files a set-up counts as its sources: what is not among them is not watched, and spoils no row."""

from __future__ import annotations

import json

import cadquery as cq
import pytest

from fixturecheck.kernel.measure import box_of
from fixturecheck.setup.load import load

SCRIPT = """
import csv
import json
import sys
from pathlib import Path
import cadquery as cq
import fixturecheck as fc

sys.path.insert(0, "../lib")
from shapes import WIDE

high = json.loads(Path("sizes.json").read_text())["high"]
Path("made.txt").write_text("written, not read")
block = cq.importers.importStep("../parts/block.step")
other = cq.Workplane(cq.Shape.importBrep("../parts/other.brep"))
setup = fc.Setup(name="read", bodies=[
    fc.body("a", block),
    fc.body("b", other, at=(40, 0, 0)),
    fc.body("c", cq.Workplane().box(WIDE, high, 5), at=(80, 0, 0)),
])
"""


def test_a_script_counts_what_it_reads_wherever_it_lies(tmp_path):
    jigs, parts, lib = (tmp_path / name for name in ("jigs", "parts", "lib"))
    for folder in (jigs, parts, lib):
        folder.mkdir()
    cq.exporters.export(cq.Workplane().box(10, 10, 10), str(parts / "block.step"))
    cq.Workplane().box(10, 10, 10).val().exportBrep(str(parts / "other.brep"))
    (lib / "shapes.py").write_text("WIDE = 7.0\n")
    (jigs / "sizes.json").write_text(json.dumps({"high": 6.0}))
    (jigs / "read.py").write_text(SCRIPT)

    def sources():
        found = load(jigs / "read.py")
        return {s.path: s.sha256 for s in found.sources}, next(b for b in found.bodies if b.name == "c")

    first, _ = sources()
    assert next(iter(first)) == "read.py"
    assert set(first) == {
        "read.py", "sizes.json", "../lib/shapes.py", "../parts/block.step", "../parts/other.brep",
    }  # fmt: skip
    # A module from elsewhere is read anew in the same process, as one beside the script is.
    (lib / "shapes.py").write_text("WIDE = 9.5\n")
    cq.exporters.export(cq.Workplane().box(10, 10, 11), str(parts / "block.step"))
    second, drawn = sources()
    changed = {path for path in first if first[path] != second[path]}
    assert changed == {"../lib/shapes.py", "../parts/block.step"}
    low, _, _, high, _, _ = box_of(drawn.solid)
    assert high - low == pytest.approx(9.5)
    assert not list(tmp_path.rglob("*.pyc"))
    # What hears of files is gone from cadquery again.
    assert "files_read" not in cq.importers.importStep.__code__.co_filename
