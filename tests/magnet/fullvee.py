"""The independent reference for the V-block: a plane section, every gap meshed as it is, third order.

A bar in a V of one length is the same in every section but for its ends. Nothing stands in for the gap:
no slab, no film, no tube. It takes a few seconds where the body of the bar with its air takes minutes.
"""

import math
from dataclasses import dataclass

import ngsolve as ng
import numpy as np
from netgen.meshing import MeshingParameters
from netgen.occ import Axes, Glue, MoveTo, OCCGeometry, WorkPlane, X, Z

from tests.magnet import fluxparts as parts
from tests.magnet import fullair

ROOT2 = math.sqrt(2)


@dataclass(frozen=True, kw_only=True)
class Vee:
    """The right half of a V-block in section, where its magnet lies, and the air round it.

    Parameters
    ----------
    outline : tuple
        Corners of the half, (x, z).
    back : tuple
        Middle of the side that the magnet lies against.
    air : tuple
        Least and greatest x and z of the air.
    """

    outline: tuple[tuple[float, float], ...]
    back: tuple[float, float]
    air: tuple[float, float, float, float]


SIDED = Vee(outline=((2.5, -20), (22, -20), (22, 22), (2.5, 2.5)), back=(22, 1), air=(-22, -80, 22, 82))
"""That of `fluxparts.vee`, with magnets at its sides."""
SHIPPED = Vee(
    outline=((1.5, -40), (35, -40), (35, 30), (30, 30), (2, 2), (2, -3), (1.5, -3)),
    back=(18.25, -40),
    air=(-100, -40, 100, 110),
)
"""That of the shop, with the magnet under it: the table's defaults, drawn anew here."""


def polygon(points):
    """A face from its corners, (x, z) drawn as (x, y)."""
    work = WorkPlane(Axes((0, 0, 0), n=Z, h=X)).MoveTo(*points[0])
    for p in points[1:]:
        work.LineTo(*p)
    return work.Close().Face()


def square(side_mm, *, gap_mm, lift_mm=0.0, vee=SIDED):
    """A square bar nested in the V with a gap under both flanks, lifted off the left one.

    The mesh must be fine at the ends of the gaps, where the flux crowds.
    """
    h, x = side_mm / ROOT2, lift_mm / ROOT2
    z = gap_mm * ROOT2 + x
    foot = min(x for x, z in vee.outline if z > 0)
    return polygon([(x, z), (x + h, z + h), (x, z + 2 * h), (x - h, z + h)]), [
        (foot, foot),
        (-foot, foot),
        (x + h, z + h),
        (x - h, z + h),
    ]


def on_edge(side_mm, *, gap_mm, land_mm):
    """A square bar standing on two lands along its lower edges, and where its mesh must be fine."""
    half, c = side_mm / 2, land_mm / ROOT2
    z = half - c + gap_mm * ROOT2
    outline = [(half - c, z), (half, z + c), (half, z + side_mm), (-half, z + side_mm), (-half, z + c)]
    return polygon([*outline, (c - half, z)]), [(s * (half - c / 2), z + c / 2) for s in (-1, 1)]


def round_bar(radius_mm, *, gap_mm):
    """A round bar on both flanks, and where its mesh must be fine."""
    z, q = radius_mm * ROOT2 + gap_mm * ROOT2, radius_mm / ROOT2
    face = WorkPlane(Axes((0, z, 0), n=Z, h=X)).Circle(radius_mm).Face()
    return face, [(s * q, q + gap_mm / ROOT2) for s in (-1, 1)]


def pull(bar, fine, *, mmf_a=150.0, source_gap_mm=0.04, long_mm=30.0, fine_mm=0.01, size_mm=1.5,
         vee=SIDED, law=parts.MILD):  # fmt: skip
    """Force of a V on a bar of some iron: in all (x, z) and on its left and right halves, N."""
    mesh = _mesh(bar, fine, fine_mm, size_mm, vee)
    mm = 1e-3
    space = ng.H1(mesh, order=3)
    u = space.TrialFunction()
    field2 = ng.grad(u) * ng.grad(u) / mm**2 + 1e-6
    form = ng.BilinearForm(space, symmetric=True)
    for names, of in (("left|right", parts.MILD), ("bar", law)):
        iron = ng.dx(definedon=mesh.Materials(names))
        form += fullair.energy(ng, fullair.coenergy(ng, of, field2) * mm**2 * iron)
    form += fullair.energy(ng, 0.5 * fullair.MU0 * field2 * mm**2 * ng.dx(definedon=mesh.Materials("air")))
    for side, sign in (("left_back", -1), ("right_back", 1)):
        conductance = fullair.MU0 / (source_gap_mm * mm)
        behind = ng.ds(definedon=mesh.Boundaries(side))
        form += fullair.energy(ng, 0.5 * conductance * (u - sign * mmf_a) ** 2 * mm * behind)
    phi = ng.GridFunction(space)
    fullair.minimise(ng, space, form, phi, precondition="direct", share=1e-9)
    field = ng.grad(phi) / mm
    halves = [
        long_mm
        * mm
        * fullair.shell_force(ng, mesh, field, "bar", lengths_mm=2, where=ng.IfPos(s * ng.x, 1, 0))
        for s in (-1, 1)
    ]
    return np.sum(halves, axis=0), *halves


def _mesh(bar, fine, fine_mm, size_mm, vee):
    """The V, the bar and the air."""
    left, right = polygon([(-x, z) for x, z in vee.outline[::-1]]), polygon(vee.outline)
    for face, name in ((left, "left"), (right, "right"), (bar, "bar")):
        face.faces.name = name
        face.faces.maxh = size_mm
    x, z = vee.back
    for face, at, name in ((left, (-x, z), "left_back"), (right, (x, z), "right_back")):
        for edge in face.edges:
            if math.dist((edge.center.x, edge.center.y), at) < 1e-6:
                edge.name = name
    x0, z0, x1, z1 = vee.air
    air = MoveTo(x0, z0).Rectangle(x1 - x0, z1 - z0).Face() - left - right - bar
    air.faces.name = "air"
    wish = MeshingParameters(maxh=6, grading=0.25)
    for x, z in fine:
        wish.RestrictH(x, z, 0, fine_mm)
    mesh = ng.Mesh(OCCGeometry(Glue([left, right, bar, air]), dim=2).GenerateMesh(mp=wish))
    mesh.Curve(2)
    return mesh
