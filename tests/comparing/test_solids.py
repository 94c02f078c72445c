"""Bodies and faces before and after, by arithmetic on boxes."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from fixturecheck.comparing.model import Renames, Trend
from fixturecheck.comparing.whole import face_changes, renames, solid_changes, stated_changes
from fixturecheck.result.shapes import StatedFact
from tests.comparing.sides import WAYS, box


@pytest.mark.parametrize("by_mm", [0.013, -0.013, 3.0])
def test_a_face_that_moved_is_told_with_how_far(by_mm):
    before, after = box("a"), box("a", size=(20.0, 10.0, 5.0 + by_mm))
    (moved,) = face_changes(before, after)
    assert (moved.before, moved.after) == ("top", "top")
    assert moved.moved_mm == pytest.approx(by_mm, abs=1e-9)
    (back,) = face_changes(after, before)
    assert back.moved_mm == -moved.moved_mm


def test_faces_numbered_by_place_are_told_by_where_they_are():
    """Every face is called by its number, and another number after: only the one that moved is told."""
    before = box("a", called=[f"face_{n}" for n in (1, 2, 3, 4, 5, 6)])
    after = box("a", size=(20.013, 10.0, 5.0), called=[f"face_{n}" for n in (6, 4, 3, 2, 5, 1)])
    (moved,) = face_changes(before, after)
    assert (moved.before, moved.after) == ("face_1", "face_6")
    assert moved.moved_mm == pytest.approx(0.013, abs=1e-9)


def test_a_face_that_turned_is_told_by_its_angle():
    tilt = math.radians(0.5)
    before = box("a")
    faces = list(before.faces)
    faces[4] = replace(faces[4], normal=(math.sin(tilt), 0.0, math.cos(tilt)))
    (turned,) = face_changes(before, replace(before, faces=tuple(faces)))
    assert (turned.after, turned.moved_mm) == ("top", 0.0)
    assert turned.turned_deg == pytest.approx(0.5, abs=1e-9)


def test_a_relief_is_a_new_face_and_nothing_else():
    before = box("a")
    slope = replace(before.faces[0], name="relief", area_mm2=7.0, centre_mm=(19.8, 5.0, 4.8),
                    normal=(math.sqrt(0.5), 0.0, math.sqrt(0.5)))  # fmt: skip
    (new,) = face_changes(before, replace(before, faces=(*before.faces, slope)))
    assert (new.before, new.after, new.moved_mm) == ("", "relief", None)


def test_a_renamed_body_and_a_renamed_face_are_found_by_place():
    other = list(WAYS)
    other[4] = "table_face"
    before = [box("a"), box("b", at=(20.0, 0.0, 0.0)), box("chuck", size=(99.0, 99.0, 20.0), role="fixture")]
    after = [before[2], box("a"), box("stop", at=(20.0, 0.0, 0.0), called=other)]
    found = renames(before, after, (["floor", "wall"], ["floor", "side"]))
    assert found.bodies == {"a": "a", "b": "stop", "chuck": "chuck"}
    assert found.faces == {("b", "top"): "table_face"}
    assert found.cuts == {"wall": "side"}


def test_a_body_that_is_another_size_or_elsewhere_is_new_not_renamed():
    before = [box("a"), box("b", at=(20.0, 0.0, 0.0))]
    for other in (box("c", at=(90.0, 0.0, 0.0)), box("c", size=(20.0, 10.0, 9.0), at=(20.0, 0.0, 0.0))):
        told = {(s.before, s.after, s.change) for s in solid_changes(before, [box("a"), other])}
        assert told == {("a", "a", Trend.SAME), ("b", "", Trend.GONE), ("", "c", Trend.NEW)}


def fact(of, about, key, value):
    return StatedFact(of=of, about=about, key=key, value=value)


def test_what_is_stated_otherwise_is_told_once():
    seat = [fact("seat", ("b.left", "a.right"), k, v) for k, v in (("rank", "nest"), ("min_share", 0.5))]
    before = [*seat, fact("cut", ("floor",), "stock_mm", 0.1), fact("body", ("b",), "at_mm", (0.0, 1.0, 2.0))]
    after = [fact("cut", ("floor",), "stock_mm", 0.2), fact("body", ("c",), "at_mm", (0.0, 1.0, 2.0 + 1e-10))]
    changes = stated_changes(before, after, Renames(bodies={"b": "c", "a": "a"}))
    assert [(c.change, c.of, c.about, c.key, c.before, c.after) for c in changes] == [
        (Trend.GONE, "seat", ("c.left", "a.right"), "", None, None),
        (Trend.SAME, "cut", ("floor",), "stock_mm", 0.1, 0.2),
    ]


def test_a_table_that_came_as_a_whole_is_one_line_and_values_that_came_are_told_each():
    """The part is on both sides: two tolerances more make no new body. Nothing stated is no news."""
    kept = fact("body", ("b",), "role", "part")
    zones = [fact("body", ("b",), f"tolerance_mm.{face}", 0.02) for face in ("floor", "back")]
    held = [fact("holding", (), "magnet", "full"), fact("holding", (), "shim_mm", None)]
    told = stated_changes([kept], [kept, *zones, fact("body", ("b",), "pole", None), *held], Renames())
    assert [(c.change, c.of, c.key, c.after) for c in told] == [
        (Trend.NEW, "body", "tolerance_mm.floor", 0.02),
        (Trend.NEW, "body", "tolerance_mm.back", 0.02),
        (Trend.NEW, "holding", "", None),
    ]


def test_a_body_that_was_renamed_is_not_told_again_where_others_name_it():
    def named(name):
        return [fact("cut", ("top",), "parts", (name,)), fact("staging", (), f"push.{name}.force_n", 10.0)]

    assert stated_changes(named("b"), named("c"), Renames(bodies={"b": "c"})) == ()
    # Each is called as the other was.
    both = [[*named("b"), fact("staging", (), "push.c.force_n", 20.0)],
            [*named("c"), fact("staging", (), "push.b.force_n", 20.0)]]  # fmt: skip
    assert stated_changes(*both, Renames(bodies={"b": "c", "c": "b"})) == ()


def test_what_reads_as_the_old_name_of_a_body_and_is_none_is_not_told() -> None:
    """A part called as its role is, and a vise whose body and clamp have one name."""
    clamp = fact("holding", (), "clamps.vise.torque_nm", 12.0)
    before = [fact("body", ("part",), "role", "part"), clamp]
    after = [fact("body", ("link",), "role", "part"), clamp]
    assert stated_changes(before, after, Renames(bodies={"part": "link", "vise": "jaw"})) == ()
