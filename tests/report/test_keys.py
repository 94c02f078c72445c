"""The printed reference of keys: complete, and made of the data classes themselves."""

from __future__ import annotations

from dataclasses import fields

import pytest

from fixturecheck.errors import SetupError
from fixturecheck.fields import allowed_in
from fixturecheck.process.text import NOT_OF_PART
from fixturecheck.report.lists import JOB_RECORDS, TABLES, equipment_text, keys_text
from fixturecheck.setup.reader import BY_OTHER_KEYS, RECORDS
from fixturecheck.setup.schema import meanings_of


@pytest.mark.parametrize("table", [*RECORDS, *JOB_RECORDS])
def test_every_key_is_printed_with_its_range_its_default_and_its_meaning(table: str) -> None:
    record, told = {**RECORDS, **JOB_RECORDS}[table], keys_text(table)
    meanings = meanings_of(record)
    elsewhere = {*BY_OTHER_KEYS.get(table, ()), *(NOT_OF_PART if table == "part" else ())}
    for field in fields(record):
        if field.name in elsewhere or field.metadata.get("hidden"):
            continue
        assert meanings.get(field.name), f"{table}.{field.name} has no meaning"
        assert f"\n  {field.name}" in told
        rule = allowed_in(field)
        if rule is not None and rule.range_said():
            assert rule.range_said() in told
        for word in rule.words if rule is not None else ():
            assert f'"{word}"' in told


def test_the_whole_reference_names_every_table() -> None:
    told = keys_text()
    heads = ["[setup]", "[[cut]]", "[machine.guard]", "[staging.push.PART]", "[severity]", "[[mill]]"]
    for head in (*heads, "[job]", "[part]", "[blank]", "[[operation]]"):
        assert f"\n{head}  " in f"\n{told}"
    assert "rpm = 2850" in told
    assert "in inch units: stock_in" in told
    assert " None " not in told


def test_the_part_of_a_job_stands_nowhere() -> None:
    told = keys_text("part")
    assert "\n  material" in told
    assert "\n  at" not in told


def test_a_table_that_is_not_there() -> None:
    with pytest.raises(SetupError, match=r"there is no table 'cutt'; did you mean 'cut'\?"):
        keys_text("cutt")
    assert keys_text("[[cut]]") == keys_text("cut")
    assert "severity" in TABLES


def test_equipment_is_told_with_its_faces_where_they_are() -> None:
    """By hand: the flank of a 90 degree V from groove to land has its middle where y and z are alike."""
    told = equipment_text("magnetic_v_block")
    assert "height_mm = 70.0  from base to land; from 0.01 to 2000" in told
    assert "NAME_left (steel_1018, pole n): (-50, -35, -40) to (50, -1.5, 30)" in told
    flank = next(line for line in told.splitlines() if "left_flank" in line)
    assert flank.split("middle ")[1].startswith("(0, -16, 16)")
    assert "looks (0, 0.707, 0.707)" in flank
    with pytest.raises(SetupError, match="equipment 'magnetic_vblock' is not known; did you mean"):
        equipment_text("magnetic_vblock")
