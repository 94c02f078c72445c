"""A part that no magnet pulls is told as such, whatever the field solver would say of it later."""

from dataclasses import replace

import pytest

from fixturecheck import Clamp, Holding, Seat, Setup, body, equipment
from fixturecheck.checks.doubts import suspicions
from fixturecheck.kernel.construct import box
from fixturecheck.result.finding import Kind

STRAP = Clamp(name="strap", kind="strap", body="bit", at_mm=(0, 0, 8), force_n=500.0)


def on_chuck(material, **holding):
    part = body("bit", box((-8, -5, 0), (8, 5, 8)), faces={"under": "<Z"}, material=material)
    return Setup(
        name="a block on a chuck",
        bodies=(*equipment("flat_magnetic_chuck", name="chuck"), part),
        seats=(Seat(body="bit", face="under", on="chuck_plate", on_face="top", rank="primary"),),
        holding=Holding(**holding),
    )


def told(setup):
    return [f.about for f in suspicions(setup) if f.kind is Kind.NOT_MAGNETIC]


@pytest.mark.parametrize("material", ["brass", "aluminium", "stainless_304", "carbide"])
def test_what_no_magnet_pulls_is_doubted(material):
    assert told(on_chuck(material, magnet="full")) == [("bit",)]


@pytest.mark.parametrize("material", ["steel_1018", "tool_steel_a2", "gray_iron", "stainless_416"])
def test_what_a_magnet_pulls_is_not(material):
    assert told(on_chuck(material, magnet="full")) == []


def test_a_magnet_that_is_off_or_a_clamp_leaves_no_doubt():
    assert told(on_chuck("brass", magnet="off")) == []
    assert told(on_chuck("brass", magnet="full", clamps=(STRAP,))) == []


def test_no_holding_leaves_no_doubt():
    assert told(replace(on_chuck("brass", magnet="full"), holding=None)) == []
