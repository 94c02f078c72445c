"""A set-up and a result made by hand: two gibs on a plate against a rail, one held off by a burr."""

from __future__ import annotations

import cadquery as cq

from fixturecheck.faceref import FaceRef
from fixturecheck.result import Result, Source
from fixturecheck.result.contact import Contact, CutMade, FaceMade
from fixturecheck.result.finding import Finding, NotAsked, Verdict, WhyNotAsked
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.setup.model import Body, Cut, Setup

SIX = ("x_low", "x_high", "y_low", "y_high", "bottom", "top")
GAP_MM = 0.3


def box(x0: float, y0: float, z0: float, x1: float, y1: float, z1: float) -> cq.Solid:
    return cq.Solid.makeBox(x1 - x0, y1 - y0, z1 - z0, cq.Vector(x0, y0, z0))


def box_faces(solid: cq.Solid) -> dict[str, tuple[int, ...]]:
    """Name the six faces of a box by the side they look to."""
    names = {}
    for i, face in enumerate(solid.Faces()):
        n = face.normalAt()
        axis = max(range(3), key=lambda k: abs(n.toTuple()[k]))
        names[SIX[2 * axis + (n.toTuple()[axis] > 0)]] = (i,)
    return names


def bodies() -> tuple[Body, ...]:
    gib = box(0, 0, 0, 60, 16, 10)
    plate = box(0, 0, 0, 160, 90, 20)
    rail = box(0, 0, 0, 160, 12, 16)
    plates = [("plate", plate, (-80, -60, -20)), ("rail", rail, (-80, 18, 0))]
    fixed = [
        Body(name=n, solid=s, at=cq.Location(at), role="fixture", faces=box_faces(s)) for n, s, at in plates
    ]
    places = {"gib_1": (-30, 2, 0), "gib_2": (-30, -14 - GAP_MM, 0)}
    parts = [Body(name=n, solid=gib, at=cq.Location(at), faces=box_faces(gib)) for n, at in places.items()]
    return (*fixed, *parts)


def setup(units: str = "mm") -> Setup:
    cut = Cut(name="top_flat", parts=("gib_1", "gib_2"), floor="top")
    return Setup(name="gibs on a plate", bodies=bodies(), cuts=(cut,), units=units)


def shapes() -> dict[str, NamedShape]:
    """Bodies, an area patch, a line, a point, a collision and a leftover, by name."""
    made = []
    for body in bodies():
        role = Role.PART if body.role == "part" else Role.FIXTURE
        made.append(
            NamedShape(name=body.name, role=role, geometry=body.solid.moved(body.at), bodies=(body.name,))
        )
    seat = box(-30, 2, -1, 30, 18, 0).faces(">Z")
    line = cq.Edge.makeLine(cq.Vector(-30, 2, 10), cq.Vector(30, 2, 10))
    hit = box(20, 17, 9.2, 30, 21, 10)
    corner = box(-30, 2, 9.8, 30, 2.2, 10)
    wheel = cq.Solid.makeCylinder(89, 13, cq.Vector(-60, 0, 99), cq.Vector(0, 1, 0))
    between = ("gib_1", "gib_2")
    made += [
        NamedShape(name="touch_gib_1_plate", role=Role.AREA, geometry=seat, bodies=("gib_1", "plate")),
        NamedShape(name="edge_line", role=Role.LINE, geometry=line, bodies=between),
        NamedShape(name="burr", role=Role.POINT, geometry=cq.Vertex.makeVertex(30, 1.9, 5), bodies=between),
        NamedShape(name="hit_guard_rail", role=Role.COLLISION, geometry=hit, bodies=("gib_1", "rail")),
        NamedShape(name="left_over_1", role=Role.LEFTOVER, geometry=corner, bodies=("gib_1",)),
        NamedShape(name="wheel", role=Role.WHEEL, geometry=wheel),
    ]
    return {s.name: s for s in made}


def result(units: str = "mm") -> Result:
    s = shapes()
    findings = (
        Finding(
            check="seat",
            verdict=Verdict.GO,
            subject="gib_1.bottom",
            says="gib_1 lies flat on the plate.",
            value=960.00000000012,
            unit="mm2",
            limit=480.0,
            margin=480.0,
            shapes=(s["gib_1"], s["plate"], s["touch_gib_1_plate"]),
        ),
        Finding(
            check="nest",
            verdict=Verdict.NO_GO,
            subject="gib_2.y_high",
            says="A burr on gib_1 lands before the face; gib_2 stays 0.3 mm open & <skewed>.",
            value=GAP_MM * 1000 + 1e-9,
            unit="um",
            limit=1.0,
            margin=1.0 - GAP_MM * 1000,
            remedy="stone the burr away, 0.3 mm",
            shapes=(s["gib_1"], s["gib_2"], s["burr"], s["edge_line"]),
            location_mm=(30.0, 1.85, 5.0),
            direction=(0.0, 1.0, -0.0),
        ),
        Finding(
            check="clear",
            verdict=Verdict.NO_GO,
            subject="top_flat",
            says="The guard hits the rail.",
            value=32.0,
            unit="mm3",
            limit=0.0,
            margin=-32.0,
            shapes=(s["hit_guard_rail"], s["rail"], s["gib_1"]),
            location_mm=(25.0, 19.0, 9.6),
            direction=(0.0, 0.0, 1.0),
        ),
        Finding(
            check="reach",
            verdict=Verdict.CAUTION,
            subject="gib_1.top",
            says="The wheel leaves a little stock in the corner.",
            value=2.4,
            unit="mm3",
            limit=0.0,
            margin=-2.4,
            remedy="dress the corner to 0.1 mm",
            shapes=(s["left_over_1"], s["gib_1"]),
            location_mm=(0.0, 2.1, 9.9),
        ),
        Finding(
            check="limits",
            verdict=Verdict.UNKNOWN,
            subject="wheel",
            says="Could not be computed: the wheel carries no mark.",
        ),
    )
    contacts = (
        Contact(
            a=FaceRef("gib_2.bottom"), b=FaceRef("plate.top"), kind="area", area_mm2=960.0, length_mm=0.0,
            gap_mean_um=0.0,
            gap_max_um=0.0, normal=(0.0, 0.0, -1.0), centroid=(0.0, -6.3, -0.0),
        ),
        Contact(
            a=FaceRef("gib_1.bottom"), b=FaceRef("plate.top"), kind="area",
            area_mm2=960.0000000001, length_mm=0.0,
            gap_mean_um=1e-7, gap_max_um=1e-7, normal=(0.0, -1e-12, -1.0), centroid=(1e-12, 10.0, 0.0),
        ),
    )  # fmt: skip
    cut = CutMade(
        name="top_flat",
        removed_mm3=384.00000000001,
        leftover_mm3=2.4,
        gouge_mm3=0.0,
        corner_radius_mm=0.2,
        faces=(FaceMade(face="gib_2.top", share_made=1.0), FaceMade(face="gib_1.top", share_made=0.997)),
    )
    return Result(
        verdict=Verdict.NO_GO,
        name="gibs on a plate",
        units=units,
        sources=(Source(path="gibs.toml", sha256="ab" * 32),),
        findings=findings,
        contacts=contacts,
        cuts=(cut,),
        shapes=tuple(s.values()),
        not_asked=(NotAsked(check="hold", reason=WhyNotAsked.NOT_STATED, lacks="[holding]"),),
    )
