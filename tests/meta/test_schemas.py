"""The JSON Schemas ship as the data classes make them today, and are sound by their metaschema."""

from __future__ import annotations

import jsonschema
import pytest

from fixturecheck.schemas import SCHEMAS, schema_text, shipped


@pytest.mark.parametrize("name", SCHEMAS)
def test_a_schema_is_sound_and_ships_as_it_is_made(name: str) -> None:
    made = SCHEMAS[name]()
    jsonschema.Draft7Validator.check_schema(made)
    assert shipped(name).read_text(encoding="utf-8") == schema_text(made), "run scripts/write_schemas.py"
