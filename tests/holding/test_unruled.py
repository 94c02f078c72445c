"""A part that meets the magnet only by shapes whose flux is not counted is unknown, not held nor let go."""

import cadquery as cq
import pytest

from fixturecheck import Cut, Holding, Seat, Setup, body, equipment
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.errors import NotComputedError
from fixturecheck.holding.factor import load_cases
from fixturecheck.holding.wheel import grinding_of
from fixturecheck.machining.as_ground import grind
from fixturecheck.magnet.pull import magnet_of
from tests.holding.rigs import rigged

FLAT_TOP = cq.Workplane().box(40, 40, 20, centered=(True, True, False))
SHAPES = {
    "ball": cq.Workplane().sphere(15).translate((0, 0, 15)).intersect(FLAT_TOP),
    "cone": cq.Workplane("XZ").moveTo(0, 0).lineTo(14, 1.5).lineTo(14, 20).lineTo(0, 20).close().revolve(),
    "puck": cq.Workplane().circle(14).extrude(20).faces("<Z").hole(6.0, 4.0).faces("<Z").chamfer(1.0),
}


def on_chuck(shape):
    chuck = equipment(
        "flat_magnetic_chuck", name="chuck", length_mm=120.0, width_mm=60.0, back_rail_height_mm=0.0
    )
    part = body(
        "piece",
        SHAPES[shape],
        material="steel_1018",
        finish="ground",
        faces={"floor": ">Z", "foot": (0, 0, 0)},
    )
    return Setup(
        name=shape,
        bodies=(*chuck, part),
        seats=(Seat(body="piece", face="foot", on="chuck_plate", on_face="top"),),
        cuts=(Cut(name="top", parts=("piece",), floor="floor", stock_mm=0.1),),
        holding=Holding(magnet="full"),
    )


@pytest.mark.parametrize(("shape", "known"), [("ball", False), ("cone", False), ("puck", True)])
def test_what_has_no_rule_is_not_known(shape, known, mesher):
    setup = on_chuck(shape)
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    pulls = magnet_of(setup, contacts, mesher).pulls(1.0)
    assert any(note.kind == "left out" for note in pulls.notes)
    assert not any(note.kind == "no flux" for note in pulls.notes)
    placed = {b.name: b.solid.moved(b.at) for b in setup.bodies}
    bearing = grinding_of(setup, placed, grind(setup, setup.cuts[0]), setup.body("piece"))
    rig = rigged(setup, pulls)
    if known:
        # A chamfer beside a flat seat takes nothing from what the seat is known to carry.
        assert load_cases(rig, bearing).borne[0].collapse.factor.low > 0.0
        return
    with pytest.raises(NotComputedError, match="the pull on piece is not known: it meets iron only by piece"):
        load_cases(rig, bearing)
