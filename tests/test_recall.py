"""A process that keeps answers gives those that it would work out, whatever was edited before."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from fixturecheck.engine import check
from fixturecheck.kernel.place import translation
from fixturecheck.kernel.recall import Memory, asked_of, key_of, recalled, remembering
from fixturecheck.report.json import result_dict
from fixturecheck.setup.load import load

STAGED = Path(__file__).parents[1] / "models/index_pawl/rev_a_staged.py"


def cut(setup, **stated):
    return replace(setup, cuts=tuple(replace(c, **stated) for c in setup.cuts))


def seat(setup, **stated):
    return replace(setup, seats=(replace(setup.seats[0], **stated), *setup.seats[1:]))


def moved(setup, name, by_mm):
    """Return the set-up with a body stood further along X."""
    bodies = tuple(
        replace(b, at=translation((by_mm, 0.0, 0.0)) * b.at) if b.name == name else b for b in setup.bodies
    )
    return replace(setup, bodies=bodies)


EDITS = {
    "stock": lambda s, u: cut(s, stock_mm=round(0.1 + 0.2 * u, 3)),
    "wall stock": lambda s, u: cut(s, wall_stock_mm=round(0.05 + 0.1 * u, 3)),
    "wheel": lambda s, u: replace(s, wheel=replace(s.wheel, corner_radius_mm=round(0.2 + 0.2 * u, 3))),
    "table": lambda s, u: replace(s, machine=replace(s.machine, table_z_mm=round(-33.0 + u, 3))),
    "touch": lambda s, u: replace(s, tolerances=replace(s.tolerances, touch_um=round(1.0 + u, 3))),
    "share": lambda s, u: seat(s, min_share=round(0.5 + 0.4 * u, 3)),
    "stop": lambda s, u: moved(s, "stop", round(-0.01 * u, 4)),
    "severity": lambda s, _u: replace(s, severity={"nest": "caution"}),
    "material": lambda s, _u: replace(s, bodies=tuple(replace(b, material="steel_1018") for b in s.bodies)),
    "drawing": lambda s, u: load(STAGED, {"count": "2", "heel_mm": f"{0.3 + u:.3f}"}),
    "nothing": lambda s, _u: s,
}


def told(result):
    return json.dumps(result_dict(result))


def edited(edit, share):
    return EDITS[edit](load(STAGED, {"count": "2"}), share)


def same_cold_and_warm(edits):
    """Check one edit after the other in a process that keeps answers, and each anew."""
    memory, tried = Memory(), 0
    for edit, share in edits:
        with remembering(memory):
            warm = told(check(edited(edit, share)))
        assert warm == told(check(edited(edit, share))), (edit, share)
        tried += 1
    return tried


@pytest.mark.slow
def test_an_edit_gives_the_same_cold_and_warm():
    """Nests and rest are kept, contacts are kept, nothing but the drawings is."""
    assert same_cold_and_warm([("stock", 0.3), ("wheel", 0.8), ("stop", 0.5)]) == 3


@pytest.fixture
def counted():
    calls = []

    def ask(given):
        return recalled(asked_of("work", given), lambda: calls.append(given) or len(calls))

    return ask, calls


def test_an_answer_is_kept_by_all_that_it_depends_on(counted):
    ask, calls = counted
    with remembering(Memory()):
        assert [ask((1.0, "a")), ask((1.0, "a")), ask((1.0, "b")), ask((1.0 + 1e-15, "a"))] == [1, 1, 2, 3]
    assert [ask((1.0, "a")), ask((1.0, "a"))] == [4, 5]  # nothing is kept where nobody said so
    assert len(calls) == 5


def test_what_was_not_asked_for_longest_is_forgotten(counted):
    ask, _ = counted
    with remembering(Memory(most=2)):
        assert [ask(1), ask(2), ask(1), ask(3), ask(1), ask(2)] == [1, 2, 1, 3, 1, 4]


def test_a_solid_counts_as_it_is_drawn_not_as_the_object_that_it_is():
    one, again, other = (load(STAGED, {"count": "1", "heel_mm": heel}) for heel in ("0.0", "0.0", "0.001"))
    assert one.bodies[-1].solid is not again.bodies[-1].solid
    assert key_of(one) == key_of(again)
    assert key_of(one) != key_of(other)
    shifted = moved(one, "stop", 1e-9)
    assert key_of(shifted) != key_of(one)
