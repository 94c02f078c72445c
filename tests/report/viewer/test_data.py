"""What the 3-D view is sent: everything that was found, small, and the same bytes each time."""

from __future__ import annotations

import base64
import gzip
import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fixturecheck.kernel.mesh.triangles import Mesh
from fixturecheck.report.order import numbered, ranked_contacts, stop_of_contact
from fixturecheck.report.pictures.draw import Drawing, drawing_of
from fixturecheck.report.viewer.motions import packed_view
from fixturecheck.report.viewer.things import STEP_MM
from fixturecheck.report.write import meshes_of
from fixturecheck.result import Result
from fixturecheck.result.finding import Verdict
from fixturecheck.result.release import ComesOff
from fixturecheck.result.rest import Ending, Rest, RestPose, Settled, VisitedPose, WayIn
from tests.report import staged, staged_hold

OFF = ComesOff(
    at_mm=(30.0, 18.0, 0.0), velocity=(0.0, 0.0, 0.0), rotation_rad_mm=(0.1, 0.0, 0.0), travel_mm=5.0
)


def result() -> Result:
    found = staged_hold.result()
    assert found.holding is not None
    leaving = tuple(replace(b, motion=OFF) for b in found.holding.leaving)
    return replace(found, holding=replace(found.holding, leaving=leaving))


RESULT = result()


@pytest.fixture(scope="module")
def meshes() -> dict[str, Mesh]:
    return meshes_of(RESULT)


@pytest.fixture(scope="module")
def drawing(meshes: dict[str, Mesh]) -> Drawing:
    return drawing_of(RESULT, meshes)


@pytest.fixture(scope="module")
def packed(meshes: dict[str, Mesh], drawing: Drawing) -> str:
    return packed_view(RESULT, staged.setup(), meshes, drawing)


def opened(packed: str) -> tuple[dict[str, Any], bytes]:
    whole = gzip.decompress(base64.b64decode(packed))
    length = int.from_bytes(whole[:4], "little")
    return json.loads(whole[4 : 4 + length]), whole[4 + length :]


@pytest.fixture(scope="module")
def data(packed: str) -> dict[str, Any]:
    return opened(packed)[0]


def test_the_same_result_gives_the_same_bytes(packed: str, meshes: dict[str, Mesh], drawing: Drawing) -> None:
    again = drawing_of(RESULT, meshes)
    assert again is not drawing
    assert packed_view(RESULT, staged.setup(), meshes_of(RESULT), again) == packed


def test_every_contact_is_a_stop_that_shows_its_patch_and_both_bodies(data: dict[str, Any]) -> None:
    names = [thing["name"] for thing in data["things"]]
    stops = {s["id"]: s for s in data["stops"]}
    for place, contact in enumerate(ranked_contacts(RESULT)):
        stop = stops[stop_of_contact(place)]
        shown = {names[int(i)]: look for i, look in stop["looks"].items()}
        assert not stop["tour"]
        assert stop["spot"] == pytest.approx(contact.centroid, abs=1e-4)
        assert {contact.a.body, contact.b.body} <= set(shown)
        assert shown[contact.a.body][0] < 0.5
        assert [name for name, look in shown.items() if look[1]] == [contact.patch] * bool(contact.patch)


def test_every_finding_is_a_stop_in_the_order_of_the_page(data: dict[str, Any]) -> None:
    stops = [(s["id"], s["verdict"], s["says"]) for s in data["stops"] if s["verdict"]]
    rows = numbered(RESULT)
    assert stops == [(str(r.number), str(r.finding.verdict), r.finding.says) for r in rows]
    assert data["first"] == "1"
    assert rows[0].finding.verdict is Verdict.NO_GO


def test_a_stop_has_the_number_and_the_limit_of_its_finding(data: dict[str, Any]) -> None:
    nest = next(s for s in data["stops"] if s["title"].startswith("nest"))
    assert nest["lines"] == ["300\u202f\u00b5m", "limit 1\u202f\u00b5m"]
    assert nest["spot"] == [30.0, 1.85, 5.0]


def test_bodies_come_back_where_they_were_meshed(packed: str, meshes: dict[str, Mesh]) -> None:
    data, arrays = opened(packed)
    thing = next(t for t in data["things"] if t["name"] == "rail")
    kind, first, count, across = thing["mesh"]["points"]
    assert kind == "i4"
    steps = np.frombuffer(arrays, "<i4", count, first).reshape(across, -1).cumsum(axis=1).T
    found = np.array(thing["at"]) + STEP_MM * steps
    assert found == pytest.approx(meshes["rail"].points_mm, abs=STEP_MM)


def test_copies_share_one_mesh(data: dict[str, Any]) -> None:
    one, other = (t["mesh"] for t in data["things"] if t["name"] in {"gib_1", "gib_2"})
    assert one == other


def test_a_wheel_is_sent_as_its_profile(data: dict[str, Any], meshes: dict[str, Mesh]) -> None:
    wheel = next(t for t in data["things"] if t["layer"] == "wheel")
    assert "mesh" not in wheel
    assert wheel["turned"]["profile"][2] < 100
    assert len(meshes["wheel"].triangles) > 100


def test_pull_and_flux_have_their_scales(data: dict[str, Any]) -> None:
    scales = {s["id"]: s["scale"]["title"] for s in data["stops"] if s["scale"]}
    assert scales == {"hold_pull.png": "pull per area", "hold_flux.png": "flux density"}


def test_what_comes_off_turns_as_the_release_found(data: dict[str, Any]) -> None:
    motion = next(m for m in data["motions"] if m["id"] == "coming off")
    (track,) = motion["tracks"]
    assert data["things"][track["thing"]]["name"] == "rail"
    assert track["about"] == list(OFF.at_mm)
    # Its fastest point goes 5 mm at 0.1 rad for each: half a radian in the end.
    assert track["keys"][-1][2] == pytest.approx([0.5, 0.0, 0.0])
    assert "1. rail: slide toward +X" in motion["says"]
    assert "5\u202fmm" in motion["says"]


def rested() -> Result:
    """The staged gibs: gib_2 comes down 8 mm by hand, and settles 0.04 mm further along than it is drawn."""
    way = WayIn(
        body="gib_2",
        from_mm=(0.0, 0.0, 8.0),
        visited=(
            VisitedPose(step=3, shift_mm=(0.0, -9.0, 0.0), turn_deg=(0.0, 0.0, 0.0)),
            VisitedPose(step=4, shift_mm=(0.0, -1.0, 0.5), turn_deg=(2.0, 0.0, 0.0)),
            VisitedPose(step=6, shift_mm=(0.0, 0.04, 0.0), turn_deg=(0.0, 0.0, 0.0)),
        ),
    )
    pose = RestPose(body="gib_2", shift_mm=(0.0, 0.04, 0.0), turn_deg=(0.0, 0.0, 0.0), matrix=np.eye(4))
    settled = Settled(ending=Ending.REST, poses={"gib_2": pose}, steps=3, residual_um=0.0)
    rest = Rest(settled=settled, order=("gib_2",), ways_in=(way,))
    return replace(staged.result(), rest=rest)


def test_a_part_comes_straight_from_the_hand_and_then_as_it_settled(meshes: dict[str, Mesh]) -> None:
    """What settling visited further off than the hand starts is left out, which is said."""
    found = rested()
    data, _ = opened(packed_view(found, staged.setup(), meshes, drawing_of(found, meshes)))
    motion = next(m for m in data["motions"] if m["id"] == "staging")
    (track,) = motion["tracks"]
    times, shifts, turns = zip(*track["keys"], strict=True)
    assert list(times) == sorted(times)
    assert shifts[0] == pytest.approx([0.0, -1.0, 8.5])
    assert shifts[1] == shifts[2] == pytest.approx([0.0, -1.0, 0.5])
    assert turns[1] == pytest.approx([np.radians(2.0), 0.0, 0.0], abs=1e-6)
    assert shifts[-1] == pytest.approx([0.0, 0.04, 0.0])
    at = motion["camera"]
    right = np.cross(at["up"], at["eye"])
    for shift in shifts[1:]:
        away = meshes["gib_2"].all_points_mm() + shift - at["target"]
        assert np.abs(away @ at["up"]).max() < at["height_mm"] / 2
        assert np.abs(away @ right).max() < at["height_mm"] * 4 / 3 / 2
    assert "poses that settling visited" in motion["says"]
    assert "left out" in motion["says"]
