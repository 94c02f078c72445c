"""The hold in result.json: in the shape of the schema, to three digits, without what only pictures need."""

from __future__ import annotations

import json
from importlib.resources import files

import jsonschema

from fixturecheck.report.json import result_json
from tests.report import staged_hold


def test_it_keeps_the_schema_and_leaves_the_drawings_out() -> None:
    """Jsonschema, a general library, is the judge."""
    told = json.loads(result_json(staged_hold.result()))
    schema = json.loads(
        files("fixturecheck.report").joinpath("result.schema.json").read_text(encoding="utf-8")
    )
    jsonschema.validate(told, schema)
    assert not {"maps", "section"} & set(told["holding"])
    assert set(told["holding"]) == set(schema["$defs"]["holding"]["required"])


def test_how_bodies_start_to_move_is_told() -> None:
    weak = json.loads(result_json(staged_hold.result()))["holding"]["parts"][1]
    assert weak["factor_low"] == 1.23
    assert weak["moves"] == [
        {
            "body": "gib_2",
            "at_mm": [0.0, -6.3, 5.0],
            "velocity": [0.0, -1.0, 0.0],
            "turn_rad_mm": [0.0, 0.0, 0.0],
        }
    ]
