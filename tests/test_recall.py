"""A process that keeps answers gives those that it would work out, whatever was edited before."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import islice
from pathlib import Path
from types import SimpleNamespace

import cadquery as cq
import numpy as np
import pytest

import fixturecheck as fc
from fixturecheck import hold
from fixturecheck.engine import check
from fixturecheck.kernel.place import translation
from fixturecheck.kernel.recall import Memory, asked_of, key_of, packed, recalled, remembering, unpacked
from fixturecheck.kernel.side_by_side import received, sent
from fixturecheck.kernel.standby import standing_by
from fixturecheck.release import motions
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


def bar_on_a_table(**stated):
    """A bar that a strap holds down while its top is ground."""
    table = fc.body(
        "table", cq.Workplane().box(200, 100, 20).translate((0, 0, -10)), role="fixture", faces={"top": ">Z"}
    )
    bar = fc.body(
        "bar", cq.Workplane().box(40, 20, 20).translate((0, 0, 10)), material="steel_1018", finish="ground",
        faces={"foot": "<Z", "floor": ">Z", "side": "<Y"},
    )  # fmt: skip
    strap = fc.Clamp(name="strap", kind="strap", body="bar", at_mm=(0, 0, 20), force_n=6000.0)
    return fc.Setup(
        name="bar on a table",
        bodies=[table, bar],
        seats=[fc.Seat(body="bar", face="foot", on="table", on_face="top", rank="primary")],
        cuts=[fc.Cut(name="top", parts=("bar",), floor="floor", stock_mm=0.1)],
        holding=fc.Holding(coolant=False, friction="ground_steel", clamps=(strap,)),
        **stated,
    )


def test_a_hold_is_kept_while_nothing_that_it_depends_on_is_edited(monkeypatch):
    """How a no-go counts is no part of it; the wheel is."""
    calls, held = [], hold.held
    monkeypatch.setattr(hold, "held", lambda *given, **how: calls.append(given) or held(*given, **how))
    counts_less, other_wheel = {"severity": {"hold": "caution"}}, {"wheel": fc.Wheel(diameter_mm=150.0)}
    with remembering(Memory()):
        warm = [told(check(bar_on_a_table(**edit), only=["hold"])) for edit in ({}, counts_less, other_wheel)]
    assert len(calls) == 2
    assert warm[1:] == [
        told(check(bar_on_a_table(**edit), only=["hold"])) for edit in (counts_less, other_wheel)
    ]


def beside_a_post(post_x_mm):
    """The bar on a table, with a post near it that is not touched."""
    setup = bar_on_a_table()
    post = fc.body(
        "post", cq.Workplane().box(10, 10, 20).translate((0, 0, 10)), role="fixture", fastened=True,
        at=(post_x_mm, 0, 0),
    )  # fmt: skip
    return replace(setup, bodies=(*setup.bodies, post))


def test_how_bodies_come_off_is_worked_out_again_only_where_one_has_moved(monkeypatch):
    """The bar meets the table as before, and the post where it stands now, which bars one of its ways."""
    asked, stood = [], motions.place_bodies
    monkeypatch.setattr(motions, "place_bodies", lambda pair: asked.append(pair) or stood(pair))
    memory, counts, warm = Memory(), [], []
    for post_x_mm in (29.0, 28.5, 26.0):
        asked.clear()
        with remembering(memory):
            warm.append(told(check(beside_a_post(post_x_mm), only=["release"])))
        counts.append(len(asked))
    assert 0 < counts[1] < counts[0]
    assert 0 < counts[2] < counts[0]
    assert warm == [told(check(beside_a_post(x), only=["release"])) for x in (29.0, 28.5, 26.0)]


def test_what_a_copy_finds_of_how_bodies_come_off_is_told_and_kept_alike():
    found, kept = [], []
    for copied in (False, True):
        with remembering(Memory()):
            found.append(told(check(beside_a_post(26.0), only=["hold", "release"], copied=copied)))
            kept.append(motions.kept_shares().answers)
    assert found[0] == found[1]
    assert kept[0] == kept[1]
    assert kept[0]


SIZES_MM = {
    "long": (20.0, 40.0), "wide": (10.0, 18.0), "high": (8.0, 14.0), "step": (1.0, 5.0), "bevel": (0.1, 0.8),
    "apart": (-0.02, 0.05), "stock": (0.05, 0.4), "table": (-40.0, -30.0), "touch_um": (0.5, 3.0),
}  # fmt: skip
"""Dimensions of two stepped blocks that nest against a stop, and the range of each."""
EDITS_IN_THE_SUITE = 6


def stepped_blocks(sizes):
    """Two blocks on a table, pushed against a stop; their tops are ground."""
    long, wide, high, step = (sizes[name] for name in ("long", "wide", "high", "step"))
    drawn = cq.Workplane().box(long, wide, high, centered=False)
    drawn = drawn.cut(cq.Workplane().box(step, wide, step, centered=False))
    drawn = drawn.edges(">X and >Z").chamfer(sizes["bevel"])
    faces = {"left": "<X", "right": ">X", "bottom": "<Z", "top": ">Z"}
    table = cq.Workplane().box(200, 60, 20, centered=(True, True, False)).translate((40, 0, -20))
    stop = cq.Workplane().box(10, 30, step + 2, centered=(False, True, False)).translate((-10, 0, 0))
    parts = [
        fc.body(name, drawn, faces=faces, at=(at, -wide / 2, 0.0))
        for name, at in (("one", 0.0), ("two", long + sizes["apart"]))
    ]
    fixtures = [
        fc.body("table", table, role="fixture", faces={"top": ">Z"}),
        fc.body("stop", stop, role="fixture", faces={"plus_x": ">X"}, fastened=True),
    ]
    return fc.Setup(
        name="stepped blocks",
        bodies=[*fixtures, *parts],
        seats=[
            fc.Seat(body="one", face="bottom", on="table", on_face="top", rank="primary"),
            fc.Seat(body="two", face="bottom", on="table", on_face="top", rank="primary"),
            fc.Seat(body="one", face="left", on="stop", on_face="plus_x", rank="stop"),
            fc.Seat(body="two", face="left", on="one", on_face="right", rank="nest"),
        ],
        cuts=[fc.Cut(name="top", parts=("one", "two"), floor="top", stock_mm=sizes["stock"], way="traverse")],
        machine=fc.Machine(table_z_mm=sizes["table"]),
        wheel=fc.Wheel(shape="1", diameter_mm=200.0, thickness_mm=20.0, bore_mm=31.75, corner_radius_mm=0.3),
        staging=fc.Staging(push={"*": fc.Push(direction=(-1, 0, 0))}, order=("one", "two")),
        tolerances=fc.Tolerances(touch_um=sizes["touch_um"]),
    )


def random_edits(seed):
    """Yield sizes without end, each with one dimension changed against the one before; some come again."""
    random = np.random.default_rng(seed)
    sizes = {name: (low + high) / 2 for name, (low, high) in SIZES_MM.items()}
    while True:
        name = random.choice([*SIZES_MM])
        low, high = SIZES_MM[name]
        # Of five values of each, some are met again, so that what was kept is asked for.
        sizes = sizes | {name: low + (high - low) * int(random.integers(5)) / 4}
        yield sizes


def edits_at_random(count, seed=20):
    """Check blocks cold and warm after each edit of one dimension; return the edits, and answers recalled."""
    memory, edits = Counting(), random_edits(seed)
    for sizes in islice(edits, count):
        with remembering(memory):
            warm = told(check(stepped_blocks(sizes)))
        assert warm == told(check(stepped_blocks(sizes))), sizes
    return count, memory.found


class Counting(Memory):
    """A memory that counts what was in it when it was asked for."""

    found = 0

    def recalled(self, key, work):
        self.found += key in self._answers
        return super().recalled(key, work)


def test_edits_of_one_dimension_at_random_give_the_same_cold_and_warm():
    """`edits_at_random(200)` was run by hand; the suite takes the first of them."""
    edits, recalled_ones = edits_at_random(EDITS_IN_THE_SUITE)
    assert (edits, recalled_ones) > (0, 0)


def test_an_answer_for_another_tolerance_is_not_taken():
    """What is kept is made worthless: the same set-up meets it, one with another tolerance works anew."""
    sizes = next(random_edits(1))
    memory = Memory()
    with remembering(memory):
        kept = told(check(stepped_blocks(sizes)))
        for key in memory._answers:
            if not key.startswith(("faces ", "sweeps ", "apart ")):  # what no tolerance has a part in
                memory._answers[key] = None
        with pytest.raises((AttributeError, TypeError)):
            check(stepped_blocks(sizes))
        other = told(check(stepped_blocks(sizes | {"touch_um": 2.0 * sizes["touch_um"]})))
    assert other == told(check(stepped_blocks(sizes | {"touch_um": 2.0 * sizes["touch_um"]})))
    assert other != kept


class SentAfar:
    """A copy that stays, whose work is done here, and goes there and back as bytes."""

    def __init__(self):
        self.begun_count = 0

    def begun(self, work, shared):
        self.begun_count += 1
        return SimpleNamespace(
            value=lambda: received(sent(*unpacked(packed(work))()), shared()), end=lambda: None
        )


def test_parts_that_come_to_rest_in_a_copy_that_stays_are_told_alike():
    """The set-up goes there as bytes; what is kept is not begun again."""
    sizes = next(random_edits(1))
    afar = SentAfar()
    with remembering(Memory()), standing_by(afar):
        found = [check(stepped_blocks(sizes), copied=True) for _ in range(2)]
    assert afar.begun_count == 1
    assert {told(one) for one in found} == {told(check(stepped_blocks(sizes)))}
