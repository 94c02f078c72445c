"""How much a close-up shows: the detail large, its surroundings still there."""

from __future__ import annotations

import numpy as np
import pytest

from fixturecheck.report.pictures.views import Frame, View, framed
from fixturecheck.result.finding import Finding, Verdict

X, Y, Z = np.eye(3)


def view(eye: np.ndarray, *, cut: bool = False) -> View:
    return View(eye=eye, cut=cut, score=0.0)


def corners(x: float, y: float, z: float) -> np.ndarray:
    return np.array([[a * x, b * y, c * z] for a in (0, 1) for b in (0, 1) for c in (0, 1)], dtype=float)


def frame(**given: object) -> Frame:
    finding = Finding(
        check="seat",
        verdict=Verdict.NO_GO,
        subject="a",
        says="a",
        value=given.pop("value", None),  # type: ignore[arg-type]  # a test's shorthand
        unit="um",
        location_mm=(0.0, 0.0, 0.0),
    )
    bodies = {"a": corners(40, 20, 10), "b": corners(120, 80, 20)}
    defaults = {"regions": [], "patches": [], "bodies": bodies, "gap_mm": 0.0, "whole_mm": 150.0}
    return framed(finding, **{**defaults, **given})


def test_a_gap_takes_a_fair_share_of_the_picture() -> None:
    """Of a picture 824 pixels high, a gap of 0.2 mm gets 33 and one of 10 um still 6."""
    for gap_um, least in ((200.0, 30), (10.0, 6)):
        made = frame(value=gap_um, patches=[corners(20, 10, 0)])
        assert made.kind == "gap"
        assert 824 * gap_um * 1e-3 / made.height_mm(view(-Y)) > least


def test_the_gap_of_the_patches_counts_where_the_finding_states_a_share() -> None:
    made = frame(patches=[corners(20, 10, 0)], gap_mm=0.25)
    assert made.height_mm(view(-Y)) == pytest.approx(6.25)


def test_a_long_corner_region_is_framed_by_its_profile() -> None:
    made = frame(regions=[corners(60, 0.2, 0.2)])
    assert made.long_axis is not None
    assert abs(made.long_axis @ X) == pytest.approx(1.0)
    assert made.height_mm(view(X)) == pytest.approx(6 * 0.2 * np.sqrt(2))
    assert made.ring_mm(view(X)) > 0.1 * np.sqrt(2)


def test_a_slab_is_shown_flat_or_magnified_where_cut() -> None:
    made = frame(regions=[corners(30, 20, 0.1)])
    assert (made.kind, made.long_axis) == ("slab", None)
    assert abs(made.flat_normal @ Z) == pytest.approx(1.0)
    assert made.height_mm(view(Z)) > 20
    assert made.height_mm(view(-Y, cut=True)) == pytest.approx(2.5)
    assert made.ring_mm(view(-Y, cut=True)) == 0.0


def test_patches_keep_the_smaller_body_in_sight() -> None:
    made = frame(patches=[corners(40, 0, 0)])
    assert made.height_mm(view(X)) >= 1.2 * np.hypot(20, 10)


def test_nothing_is_shown_wider_than_everything() -> None:
    assert frame(patches=[corners(400, 300, 0)]).height_mm(view(Z)) == 150.0


def test_without_evidence_the_bodies_are_shown() -> None:
    made = frame()
    assert made.kind == "body"
    assert made.height_mm(view(-Y)) == pytest.approx(np.hypot(120, 20), rel=0.01)


def test_an_error_of_one_body_shows_the_body() -> None:
    made = frame(value=20.0, bodies={"a": corners(40, 20, 10)})
    assert made.kind == "body"
    assert made.height_mm(view(-Y)) >= np.hypot(40, 10)
