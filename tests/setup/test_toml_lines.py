"""Which line of a TOML file a finding is led to, also where `--set` gives a key another value."""

from __future__ import annotations

from fixturecheck.setup.document import read_document
from fixturecheck.setup.outline import origins_of_tables

TEXT = """\
# A comment, and an empty line before the first table.

[setup]
name = "two"

[wheel]
diameter_mm = 178

[[body]]
name = "a"
file = "a.step"

[[body]]
name = "b"
file = "b.step"

[[seat]]
body = "b"
face = "left"
on = "a"
on_face = "right"

[[cut]]
name = "top"
parts = ["a"]
floor = "foot"
"""
TABLES = {
    ("setup",): "[setup]",
    ("wheel",): "[wheel]",
    ("body", "a"): "[[body]]",
    ("body", "b"): "[[body]]",
    ("seat", "b.left", "a.right"): "[[seat]]",
    ("cut", "top"): "[[cut]]",
}


def test_each_table_is_led_to_its_own_line_whatever_is_set(tmp_path):
    path = tmp_path / "two.toml"
    path.write_text(TEXT)
    lines = TEXT.splitlines()
    changed = {"cut.top.stock_mm": "0.3", "wheel.diameter_mm": "150", "seat.1.min_share": "0.4"}
    for overrides in ({}, changed, {"machine.table_z_mm": "-20"}):
        found = origins_of_tables(read_document(path, overrides))
        told = {key: lines[found[key].line - 1] for key in TABLES}
        assert told == TABLES
        assert {found[key].file for key in TABLES} == {"two.toml"}
        assert found["body", "b"].line == lines.index('name = "b"')
        assert found[()].line is None or found[()].line == 1
