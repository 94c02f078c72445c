"""What was used without being stated is told with its value, and nothing that was stated is among it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cadquery as cq
import pytest

from fixturecheck import (
    Clamp,
    Cut,
    Flange,
    Holding,
    Machine,
    Push,
    Seat,
    Setup,
    Staging,
    Wheel,
    body,
    equipment,
)
from fixturecheck.checks.doubts import assumed
from fixturecheck.result import Assumed
from fixturecheck.setup.load import load

BLOCK = cq.Workplane().box(10, 20, 5)
FACES = {"top": ">Z", "base": "<Z"}


def setup_of(**more: object) -> Setup:
    bodies = [
        body("part", BLOCK, faces=FACES, material="brass"),
        *equipment("parallel", name="bar", at=(0, 0, -18.5)),
    ]
    return Setup(**{"name": "x", "bodies": bodies, **more})


def told(setup: Setup) -> dict[tuple[str, str], Assumed]:
    return {(row.of, row.key): row for row in assumed(setup)}


def test_a_default_that_is_used_is_told_with_its_unit_and_what_hangs_on_it() -> None:
    found = told(setup_of(cuts=[Cut(name="c", parts=("part",), floor="top", stock_mm=0.1)]))
    travel = found["machine", "travel_x_mm"]
    assert (travel.value, travel.unit) == (450.0, "mm")
    assert travel.hangs_on == "whether the table reaches"
    assert ("cut c", "stock_mm") not in found
    assert found["cut c", "overtravel_mm"].value == 10.0
    assert found["machine", "table_z_mm"].value == pytest.approx(-18.5)
    # ANSI B7.1 table 23, from memory: 5500 sfpm for a vitrified wheel of low strength.
    assert found["wheel", "max_speed_m_s"].value == pytest.approx(5500 * 0.3048 / 60, abs=1e-3)
    assert found["equipment bar", "height_mm"].value == 16.0


def test_what_is_stated_is_not_assumed_even_where_it_is_the_default() -> None:
    cut = Cut(name="c", parts=("part",), floor="top", stock_mm=0.2, overtravel_mm=10.0)
    found = told(
        setup_of(
            cuts=[cut],
            machine=Machine(travel_x_mm=450.0, flange=Flange(diameter_mm=75.0)),
            wheel=Wheel(diameter_mm=178.0, max_speed_m_s=30.0),
        )
    )
    assert not {k for k in found if k[1] in {"travel_x_mm", "overtravel_mm", "stock_mm", "spec"}}
    assert ("machine.flange", "diameter_mm") not in found
    assert ("machine.flange", "thickness_mm") in found
    assert ("wheel", "max_speed_m_s") not in found


def test_defaults_that_play_no_part_are_not_told() -> None:
    assert not [row for row in assumed(setup_of()) if row.of in {"machine", "wheel", "holding", "staging"}]
    plunge = told(setup_of(cuts=[Cut(name="c", parts=("part",), floor="top")]))
    assert ("cut c", "cross_feed_mm") not in plunge
    assert ("cut c", "table_speed_m_min") not in plunge
    assert ("cut c", "wall_feed_mm") not in plunge
    held = told(
        setup_of(cuts=[Cut(name="c", parts=("part",), floor="top", way="traverse")], holding=Holding())
    )
    assert ("cut c", "cross_feed_mm") in held
    assert ("cut c", "table_speed_m_min") in held
    assert ("holding", "rated_pull_n_cm2") not in held
    assert held["holding", "least_factor"].value == 3.0


def test_the_rated_pull_of_a_magnet_and_the_screw_of_a_vise_are_assumed() -> None:
    vee = equipment("magnetic_v_block", name="vee")
    screw = Clamp(name="screw", kind="strap", body="part", at_mm=(0, 0, 2.5), torque_nm=5.0)
    found = told(
        Setup(
            name="x",
            bodies=[*vee, body("part", BLOCK, faces=FACES)],
            holding=Holding(magnet="full", clamps=(screw,)),
        )
    )
    assert (found["holding", "rated_pull_n_cm2"].value, found["holding", "rated_pull_n_cm2"].unit) == (
        80.0,
        "N/cm2",
    )
    assert ("holding", "trifle_share") not in found
    assert found["clamp screw", "screw_mm"].value == 12.0
    assert found["body part", "material"].value == "steel_1018"


def test_a_push_of_no_stated_force_is_a_light_hand() -> None:
    staging = Staging(push={"*": Push(direction=(1, 0, 0))})
    found = told(setup_of(staging=staging))
    assert found["staging.push.*", "force_n"].value == "a light hand, a quarter of what seats the part"
    assert ("staging", "draws") not in found


def test_like_values_of_like_things_are_one_row() -> None:
    seats = [
        Seat(body="part", face="base", on="bar", on_face="top"),
        Seat(body="part", face="top", on="bar", on_face="base"),
    ]
    rows = [r for r in assumed(setup_of(seats=seats)) if r.key == "min_share"]
    assert [(r.of, r.value) for r in rows] == [("seat part.base, seat part.top", 0.5)]


def test_a_record_that_was_changed_keeps_what_was_stated_of_it() -> None:
    cut = replace(Cut(name="c", parts=("part",), floor="top", stock_mm=0.2), downfeed_mm=0.02)
    assert cut.stated == {"name", "parts", "floor", "stock_mm", "downfeed_mm"}
    assert replace(cut, stock_mm=0.3).stated == cut.stated


def test_all_ways_of_stating_a_set_up_assume_the_same(gang: dict[str, Path]) -> None:
    script, toml, assembly = (assumed(load(path)) for path in gang.values())
    assert script == toml == assembly
    found = {(row.of, row.key) for row in toml}
    assert ("cut step", "stock_mm") in found
    assert ("wheel", "diameter_mm") not in found
    assert ("machine", "rpm") not in found
