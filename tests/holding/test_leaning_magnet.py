"""A magnet that leans pulls as hard as the same magnet level."""

from __future__ import annotations

import pytest

from fixturecheck import Holding, Seat, Setup, body, equipment, place
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.kernel.construct import box
from fixturecheck.magnet.iron import ferrous_bodies
from fixturecheck.magnet.pull import least_pulls, magnet_of

pytestmark = pytest.mark.slow

SIZES = {
    "angle_deg": 30.0, "roll_distance_mm": 60.0, "width_mm": 40.0, "plate_mm": 14.0, "roll_mm": 12.0,
    "pole_pitch_mm": 14.0, "frame_mm": 4.0,
}  # fmt: skip


def on_plate(back_deg: float) -> Setup:
    """A block on the plate, all of it turned back about the hinge by an angle."""
    turn = place(rotate=[("x", -back_deg)])
    plate = equipment("magnetic_sine_plate", name="sine", at=turn, **SIZES)
    top = next(b for b in plate if b.poles)
    (index,) = top.faces["top"]
    middle = top.solid.Faces()[index].Center()
    stands = turn * place(at=middle.toTuple(), rotate=[("x", top.inclines[0].reached_deg)])
    part = body(
        "block",
        box((-15, -14, 0), (15, 14, 10)),
        at=stands,
        finish="ground",
        faces={"seat": "<Z", "floor": ">Z"},
    )
    return Setup(
        name="block",
        bodies=(*plate, part),
        seats=(Seat(body="block", face="seat", on="sine_plate", on_face="top"),),
        holding=Holding(magnet="full", rated_pull_n_cm2=60.0),
    )


def pulled(setup: Setup, mesher) -> tuple[float, float]:
    """Pull at the weak end, N, and the force behind the stiffer source, A."""
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    magnet = magnet_of(setup, contacts, mesher)
    found = [p for p in least_pulls(magnet.weak, magnet.soft, 1.0).patches if "block" in (p.a, p.b)]
    return sum(p.pull_n for p in found), magnet.source.mmf_a


def test_the_pull_does_not_ask_which_way_is_up(mesher) -> None:
    leans = on_plate(0.0)
    level = on_plate(next(b for b in leans.bodies if b.poles).inclines[0].reached_deg)
    leaning_n, leaning_a = pulled(leans, mesher)
    level_n, level_a = pulled(level, mesher)
    # Apart by their meshes alone: level bars are drawn anew and cut, leaning ones are kept whole.
    assert leaning_n == pytest.approx(level_n, rel=0.02)
    assert leaning_a == pytest.approx(level_a, rel=0.02)


def test_what_lies_behind_the_magnet_carries_none_of_its_flux() -> None:
    names = {f.placed.name for f in ferrous_bodies(on_plate(0.0))}
    assert names == {"block", *(f"sine_pole_0{k}" for k in range(1, 5))}
