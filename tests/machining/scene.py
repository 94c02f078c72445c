"""Set-ups of our own for the wheel: a stepped pawl with floor and wall, alone or in a gang, and blocking."""

from __future__ import annotations

import cadquery as cq

from fixturecheck.checks.stage import Stage
from fixturecheck.contact.patch import ContactMap
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.machining.as_ground import grind
from fixturecheck.setup.model import Body, Cut, Machine, Setup
from fixturecheck.shop.wheels import Wheel

LENGTH, FLOOR, FLOOR_Z = 20.0, 12.0, 8.0


def stepped(
    fillet: float = 0.0, relief: float = 0.0, length: float = LENGTH, floor: float = FLOOR
) -> cq.Solid:
    """A bar 30 deep and 20 high with a step: floor at z = 8, y 0 to `floor`; wall at y = `floor`."""
    work = cq.Workplane().box(length, 30, 20, centered=False)
    work = work.cut(cq.Workplane().box(length, floor, 12, centered=False).translate((0, 0, FLOOR_Z)))
    if fillet:
        corner = cq.selectors.NearestToPointSelector((length / 2, floor, FLOOR_Z))
        work = work.edges(corner).fillet(fillet)
    if relief:
        groove = cq.Workplane("YZ").center(floor, FLOOR_Z).circle(relief).extrude(length)
        work = work.cut(groove)
    return work.val()


def named(solid: cq.Solid, floor: float = FLOOR, z: float = FLOOR_Z) -> dict[str, tuple[int, ...]]:
    """Indices of floor and wall."""
    faces = list(enumerate(faces_of(solid)))
    flat = [(i, f) for i, f in faces if f.geomType() == "PLANE"]
    floors = [i for i, f in flat if f.normalAt().z > 0.99 and abs(f.Center().z - z) < 1e-6]
    walls = [i for i, f in flat if f.normalAt().y < -0.99 and abs(f.Center().y - floor) < 1e-6]
    return {"floor": tuple(floors), "wall": tuple(walls)}


def pawl(name: str = "pawl_1", *, at=(0, 0, 50), turn=None, tolerance=None, **shape) -> Body:
    solid = stepped(**shape)
    place = cq.Location(cq.Vector(*at))
    if turn is not None:
        axis, angle = turn
        place = place * cq.Location(cq.Vector(), cq.Vector(*axis), angle)
    faces = named(solid, shape.get("floor", FLOOR))
    return Body(name=name, solid=solid, at=place, faces=faces, tolerance_mm=tolerance or {})


def block(name: str, size, at, role: str = "fixture") -> Body:
    solid = cq.Workplane().box(*size, centered=False).val()
    return Body(name=name, role=role, solid=solid, at=cq.Location(cq.Vector(*at)))


def stage(bodies, *, wheel=None, machine=None, path=None, **cut) -> Stage:
    parts = tuple(b.name for b in bodies if b.role == "part")
    cut.setdefault("wall", "wall")
    one = Cut(name="floor_cut", floor="floor", parts=cut.pop("parts", parts), **cut)
    setup = Setup(
        name="bench",
        bodies=tuple(bodies),
        cuts=(one,),
        wheel=wheel or Wheel(),
        machine=machine or Machine(),
    )
    placed = {b.name: b.solid.moved(b.at) for b in bodies}
    ground = grind(setup, one, path=path)
    return Stage(setup=setup, placed=placed, contacts=ContactMap(patches=(), overlaps=()), cuts=(ground,))
