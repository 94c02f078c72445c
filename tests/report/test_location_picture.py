"""The picture of what locates a part: arrows where the seats act, words beside them, and nothing left out."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fixturecheck.faceref import FaceRef
from fixturecheck.report.markup import picture_of
from fixturecheck.report.order import LOCATION
from fixturecheck.report.pictures.draw import write_job
from fixturecheck.report.pictures.painter import Painter
from fixturecheck.report.pictures.scene import SEAT, TARGET, location_scene, set_stage
from fixturecheck.report.rest_page import rest_section
from fixturecheck.report.write import meshes_of
from fixturecheck.result.finding import Finding, Verdict
from fixturecheck.result.rest import (
    Ending,
    PartLocation,
    Rest,
    RestPose,
    SeatGap,
    SeatRole,
    SeatTakes,
    Settled,
    TargetMoves,
)
from fixturecheck.result.tolerance import CriticalPlace
from tests.report import staged


def takes(own, other, rank, freedoms):
    """A seat that takes so many freedoms, all that it wants."""
    role = SeatRole(name=f"{own} on {other}", takes=freedoms, wants=freedoms, fights=())
    return SeatTakes(own=FaceRef(f"gib_1.{own}"), other=FaceRef(other), rank=rank, role=role)


SEATS = (takes("bottom", "plate.top", "primary", 3), takes("y_high", "rail.y_low", "secondary", 2))
TOP = TargetMoves(
    place=CriticalPlace(
        name="top_flat/gib_1.top", body="gib_1", at_mm=(0, 10, 10), direction=(0, 0, 1), face="top"
    ),
    by_seat=(("bottom on plate.top", 1.0),),
)


def settled(ending=Ending.REST, body="gib_1", **changed):
    """One body at rest where it is drawn, or gone."""
    pose = RestPose(body=body, shift_mm=(0, 0, 0), turn_deg=(0, 0, 0), matrix=np.eye(4))
    gone = "" if ending is Ending.REST else body
    return Settled(ending=ending, body=gone, poses={body: pose}, steps=1, residual_um=0.0, **changed)


def located():
    """The staged result with a rest that is located on plate and rail."""

    def one(subject, at, way, *about):
        return Finding(
            check="location",
            verdict=Verdict.GO,
            subject=subject,
            about=about,
            says="",
            location_mm=at,
            direction=way,
        )

    findings = (
        one("gib_1: bottom on plate.top", (0, 10, 0), (0, 0, 1), "gib_1.bottom", "plate.top"),
        one("gib_1: y_high on rail.y_low", (0, 18, 5), (0, -1, 0), "gib_1.y_high", "rail.y_low"),
        one("top_flat/gib_1.top", (0, 10, 10), (0, 0, 1), "gib_1.top"),
    )
    part = PartLocation(body="gib_1", rank=5, seats=SEATS, targets=(TOP,))
    rest = Rest(settled=settled(), location=(part,))
    result = staged.result()
    return replace(result, rest=rest, findings=(*result.findings, *findings))


def test_poses_are_listed_only_where_the_parts_came_to_rest():
    result = located()
    assert "off the drawing" in rest_section(result)
    slid = replace(result.rest, settled=settled(Ending.SLIDES))
    told = rest_section(replace(result, rest=slid))
    assert "off the drawing" not in told
    assert "gib_1 slides away" in told


def test_each_seat_has_an_arrow_into_the_part_and_each_cut_face_one_out_of_it():
    result = located()
    scene = location_scene(set_stage(result, meshes_of(result)))
    base, back, top = scene["arrows"]
    assert (base["at"], base["way"], base["into"]) == ([0, 10, 0], [0, 0, 1], True)
    assert back["lines"] == ["y_high takes 2"]
    assert (top["into"], top["lines"]) == (False, ["top", "bottom +1.00"])
    assert scene["file"] == LOCATION


def test_no_rest_no_picture():
    result = staged.result()
    assert location_scene(set_stage(result, meshes_of(result))) is None


@pytest.mark.render
def test_arrows_of_both_colours_are_drawn_where_they_act(tmp_path: Path) -> None:
    result = located()
    painter = Painter()
    painter.begin(write_job(tmp_path, tmp_path / "out", result, meshes_of(result)))
    drawn = painter.finish()
    painter.stop()
    assert drawn.trouble is None
    pixels = np.asarray(Image.open(tmp_path / "out" / LOCATION).convert("RGB")).astype(int)
    for rgb in (SEAT, TARGET):
        # More than the swatch of the legend has.
        assert (np.abs(pixels - np.array(rgb)).max(axis=2) < 12).sum() > 4000


def test_the_page_shows_the_picture_and_keeps_a_part_s_name_as_it_is_written():
    text = rest_section(
        located(), {LOCATION: picture_of(b"here", "for who does not see it", "what it shows")}
    )
    section = text.split("<h3>What locates the work</h3>")[1]
    assert section.split(">")[0].strip() == "<figure"
    assert b64encode(b"here").decode() in section.split("</figure>")[0]
    assert "<figcaption>what it shows</figcaption></figure>" in section


CLOSED = SeatGap(
    own=FaceRef("gib_1.left"),
    other=FaceRef("stop.plus_x"),
    gap_min_um=5e-5,
    gap_max_um=2.54,
    closed=True,
    force_n=0.0,
)


@pytest.mark.parametrize(
    ("told", "written"),
    [
        (settled(Ending.FALLS, "keeper"), "<p>keeper falls away"),
        (settled(body="keeper", seats=(CLOSED,)), "<p>Every seat is closed"),
    ],
)
def test_only_words_get_a_capital(told, written):
    result = located()
    assert written in rest_section(replace(result, rest=replace(result.rest, settled=told)))


@pytest.mark.parametrize(
    ("units", "told"),
    [("mm", "open by 0\u202fµm to 2.54\u202fµm"), ("inch", "open by 0\u202fin to 0.0001\u202fin")],
)
def test_a_gap_that_is_only_the_solver_s_last_digit_is_none(units, told):
    result = replace(located(), units=units)
    text = rest_section(replace(result, rest=replace(result.rest, settled=settled(seats=(CLOSED,)))))
    assert told in text
