"""Nests in which something without function is met before the seats close."""

from __future__ import annotations

import math

import cadquery as cq

from fixturecheck import Push, Relieving, Seat, Setup, Staging, body
from fixturecheck.nesting.settle import settle_setup
from fixturecheck.result.relief import Rejected, ThinWall

SHELF_Z = 6.0


def opening_um(setup):
    """Return how far the worst seat stands open once the parts are at rest."""
    settled = settle_setup(setup, setup.staging)
    assert settled.rests
    return max(s.gap_max_um for s in settled.seats)


def volume_by_its_line_mm3(relief):
    """Return the volume of the part once the line of code that a relief names has been run."""
    scope = {"cq": cq, "part": cq.Workplane(relief.before)}
    exec(relief.line, scope)  # noqa: S102 -- the line is what is tested
    return scope["part"].val().Volume()


def walls_against(refused):
    """Return the walls that were too thin for the cuts tried on a clash."""
    tried = (why for why in refused.why if isinstance(why, Rejected))
    return [one for rejected in tried for one in rejected.against if isinstance(one, ThinWall)]


def keeper_setup(
    radius_mm, high_mm, *, shelf_mm=10.0, lip=lambda part: part, no_function=("under",), burr=False,
    bevel_mm=0.0, zones=None, **wanted,
):  # fmt: skip
    """A keeper whose lip is `high_mm` over a shelf with a fillet of `radius_mm`; `lip` changes the part.

    With `burr` the shelf has a flat burr of that leg in place of the fillet; `bevel_mm` is a chamfer on the
    lip; `zones` are tolerances by `body.face`.
    """
    stop = (
        cq.Workplane("XZ")
        .polyline([(-40, 0), (0, 0), (0, SHELF_Z), (-shelf_mm, SHELF_Z), (-shelf_mm, 20), (-40, 20)])
        .close()
        .extrude(20, both=True)
        .edges(cq.selectors.NearestToPointSelector((-shelf_mm, 0, SHELF_Z)))
    )
    stop = stop.chamfer(radius_mm) if burr else stop.fillet(radius_mm)
    z = SHELF_Z + high_mm
    part = (
        cq.Workplane("XZ")
        .polyline([(-shelf_mm, z), (1, z), (1, 0), (40, 0), (40, 16), (-shelf_mm, 16)])
        .close()
        .extrude(15, both=True)
    )
    table = cq.Workplane().box(160, 80, 20).translate((0, 0, -10))
    named = {"base": "<Z", "back": "<X", "under": (-shelf_mm / 2, 0, z)}
    if bevel_mm:
        part = part.edges(cq.selectors.NearestToPointSelector((-shelf_mm, 0, z))).chamfer(bevel_mm)
        named["bevel"] = (-shelf_mm + bevel_mm / 2, 0, z + bevel_mm / 2)

    def zones_of(name):
        return {k.partition(".")[2]: v for k, v in (zones or {}).items() if k.partition(".")[0] == name}

    wall, fillet = (-shelf_mm, 0, 15), (-shelf_mm + 0.29 * radius_mm, 0, SHELF_Z + 0.29 * radius_mm)
    return Setup(
        name="keeper",
        bodies=(
            body("table", table, role="fixture", faces={"top": ">Z"}),
            body(
                "stop", stop, role="fixture", faces={"wall": wall, "fillet": fillet},
                no_function=[n for n in no_function if n == "fillet"], tolerance_mm=zones_of("stop"),
            ),
            body(
                "keeper",
                lip(part),
                faces=named,
                no_function=[n for n in no_function if n in named],
                tolerance_mm=zones_of("keeper"),
            ),
        ),
        seats=(
            Seat(body="keeper", face="base", on="table", on_face="top"),
            Seat(body="keeper", face="back", on="stop", on_face="wall", rank="secondary"),
        ),
        staging=Staging(push={"keeper": Push(direction=(-1, 0, 0))}),
        relief=Relieving(**wanted),
    )  # fmt: skip


def angle_setup(
    size_mm, *, burr=False, turn_deg=0.0, bevel_mm=0.0, no_function=("filling",), plate_zones=None,
    block_zones=None, **wanted,
):  # fmt: skip
    """A block in an angle plate whose inside corner holds a fillet, or a flat burr, of `size_mm`.

    The block's corner is sharp, or has a chamfer of `bevel_mm`.
    """
    plate = (
        cq.Workplane("XZ")
        .polyline([(-20, -20), (60, -20), (60, 0), (0, 0), (0, 40), (-20, 40)])
        .close()
        .extrude(20, both=True)
        .edges(cq.selectors.NearestToPointSelector((0, 0, 0)))
    )
    plate = plate.chamfer(size_mm) if burr else plate.fillet(size_mm)
    block = cq.Workplane().box(30, 20, 20).translate((15, 0, 10))
    named = {"base": "<Z", "back": (0, 0, 10)}
    if bevel_mm:
        block = block.edges(cq.selectors.NearestToPointSelector((0, 0, 0))).chamfer(bevel_mm)
        named["bevel"] = (bevel_mm / 2, 0, bevel_mm / 2)
    about = ((0, 0, 0), (0, 0, 1), turn_deg)
    push = (-math.cos(math.radians(turn_deg)), -math.sin(math.radians(turn_deg)), 0)
    corner = cq.Vector(0.3 * size_mm, 0, 0.3 * size_mm)

    def at(x, y, z):
        place = cq.Workplane(cq.Vertex.makeVertex(x, y, z)).rotate(*about).val()
        return place.toTuple()

    return Setup(
        name="angle",
        bodies=(
            body(
                "angle",
                plate.rotate(*about),
                role="fixture",
                faces={"floor": at(40, 0, 0), "wall": at(0, 0, 30), "filling": at(*corner.toTuple())},
                no_function=[n for n in no_function if n == "filling"],
                tolerance_mm=plate_zones or {},
            ),
            body(
                "block",
                block.rotate(*about),
                faces={n: p if isinstance(p, str) else at(*p) for n, p in named.items()},
                no_function=[n for n in no_function if n == "bevel"],
                tolerance_mm=block_zones or {},
            ),
        ),
        seats=(
            Seat(body="block", face="base", on="angle", on_face="floor"),
            Seat(body="block", face="back", on="angle", on_face="wall", rank="secondary"),
        ),
        staging=Staging(push={"block": Push(direction=push)}),
        relief=Relieving(**wanted),
    )


def plug_setup(size_mm, *, slack_mm=0.2, burr=False, no_function=("side",), **wanted):
    """A plug whose rim meets the fillet, or the conical burr, round the bottom of its socket."""
    socket = (
        cq.Workplane().circle(30).extrude(20).faces(">Z").workplane().hole(2 * (12.0 + slack_mm), 10)
        .edges(cq.selectors.NearestToPointSelector((0, 0, 10)))
    )  # fmt: skip
    socket = socket.chamfer(size_mm) if burr else socket.fillet(size_mm)
    plug = cq.Workplane().circle(12).extrude(30).translate((0, 0, 10))
    return Setup(
        name="plug",
        bodies=(
            body("socket", socket, role="fixture", faces={"bottom": (0, 0, 10)}),
            body("plug", plug, faces={"end": "<Z", "side": (12, 0, 25)}, no_function=no_function),
        ),
        seats=(Seat(body="plug", face="end", on="socket", on_face="bottom"),),
        staging=Staging(),
        relief=Relieving(**wanted),
    )


def dovetail_setup(
    size_mm, angle_deg, *, burr=False, turn_deg=0.0, corner_mm=0.0, bevel_mm=0.0, wall_mm=20.0,
    no_function=("filling",), **wanted,
):  # fmt: skip
    """A gib in an angle plate whose wall stands at `angle_deg` to its floor.

    The plate's inside corner holds a fillet of radius `size_mm`, or a flat burr of that leg on both faces.
    The gib's corner is sharp, or has a radius of `corner_mm`, or a chamfer of that leg `bevel_mm`. Behind the
    wall the plate is `wall_mm` thick.
    """
    angle, turn = math.radians(angle_deg), math.radians(turn_deg)
    up, out = (math.cos(angle), math.sin(angle)), (math.sin(angle), -math.cos(angle))
    top = (40 * up[0], 40 * up[1])
    back, foot = (
        (top[0] - wall_mm * out[0], top[1] - wall_mm * out[1]),
        -wall_mm * (1 + math.cos(angle)) / math.sin(angle),
    )
    plate = (
        cq.Workplane("XZ").polyline([(foot, -wall_mm), (60, -wall_mm), (60, 0), (0, 0), top, back]).close()
        .extrude(20, both=True).edges(cq.selectors.NearestToPointSelector((0, 0, 0)))
    )  # fmt: skip
    plate = plate.chamfer(size_mm) if burr else plate.fillet(size_mm)
    high = (20 * up[0] / up[1], 20)
    block = cq.Workplane("XZ").polyline([(0, 0), (40, 0), (40, 20), high]).close().extrude(10, both=True)
    named = {"base": "<Z", "back": (0.5 * high[0], 0, 10)}
    edge = cq.selectors.NearestToPointSelector((0, 0, 0))
    if corner_mm:
        block = block.edges(edge).fillet(corner_mm)
    if bevel_mm:
        block = block.edges(edge).chamfer(bevel_mm)
    about = ((0, 0, 0), (0, 0, 1), turn_deg)
    # On the bisector: the middle of a fillet lies r (1 / sin a - 1) from the corner, of a flat burr l cos a.
    along = size_mm * math.cos(angle / 2) if burr else size_mm * (1 / math.sin(angle / 2) - 1)

    def at(x, y, z):
        return cq.Workplane(cq.Vertex.makeVertex(x, y, z)).rotate(*about).val().toTuple()

    return Setup(
        name="dovetail",
        bodies=(
            body(
                "plate", plate.rotate(*about), role="fixture", no_function=no_function,
                faces={
                    "floor": at(50, 0, 0),
                    "wall": at(0.9 * top[0], 0, 0.9 * top[1]),
                    "filling": at(along * math.cos(angle / 2), 0, along * math.sin(angle / 2)),
                },
            ),
            body(
                "gib", block.rotate(*about),
                faces={n: p if isinstance(p, str) else at(*p) for n, p in named.items()},
            ),
        ),
        seats=(
            Seat(body="gib", face="base", on="plate", on_face="floor"),
            Seat(body="gib", face="back", on="plate", on_face="wall", rank="secondary"),
        ),
        staging=Staging(push={"gib": Push(direction=(-math.cos(turn), -math.sin(turn), 0))}),
        relief=Relieving(**wanted),
    )  # fmt: skip
