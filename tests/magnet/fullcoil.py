"""The independent reference driven by a coil: iron and air of the TEAM workshop problems 13 and 20.

The field is H = T - grad(phi). T runs along the coil's axis: ampere-turns over its length inside the
winding, falling to nothing across it, so that curl T is the winding's current. T is constant in the iron
that the coil encloses, so nothing cancels there. Otherwise as in `fullair`: the least energy over phi,
B-H straight from the problem's table, second-order tetrahedra, all the air meshed.
"""

from dataclasses import dataclass
from typing import Any

import ngsolve as ng
import numpy as np
from netgen.occ import Axis, Box, Cylinder, Glue, OCCGeometry, Pnt, Z

from tests.magnet import fullair

MM = 1e-3


@dataclass(frozen=True, kw_only=True)
class Coil:
    """A winding round the Z axis: half the inside, radius of its corners, thickness, and its two ends."""

    half_mm: float
    corner_mm: float
    thick_mm: float
    low_mm: float
    high_mm: float
    length_mm: float

    def axial(self):
        """T per ampere-turn, 1/m."""
        straight = self.half_mm - self.corner_mm
        off = [ng.IfPos(a - straight, a - straight, 0) for a in (ng.sqrt(ng.x**2), ng.sqrt(ng.y**2))]
        out = ng.sqrt(off[0] ** 2 + off[1] ** 2 + 1e-12) - self.corner_mm
        share = ng.IfPos(out, ng.IfPos(self.thick_mm - out, 1 - out / self.thick_mm, 0), 1)
        inside = ng.IfPos((ng.z - self.low_mm) * (self.high_mm - ng.z), share, 0)
        return ng.CoefficientFunction((0, 0, inside / (self.length_mm * MM)))

    def block(self, *, outer):
        """A rounded block about the axis: the winding's outside, or its hole."""
        more = self.thick_mm if outer else 0.0
        half, radius, height = self.half_mm + more, self.corner_mm + more, self.high_mm - self.low_mm
        inner = half - radius
        out = Box(Pnt(-inner, -half, self.low_mm), Pnt(inner, half, self.high_mm))
        out = out + Box(Pnt(-half, -inner, self.low_mm), Pnt(half, inner, self.high_mm))
        for x in (-inner, inner):
            for y in (-inner, inner):
                out = out + Cylinder(Pnt(x, y, self.low_mm), Z, r=radius, h=height)
        return out


@dataclass(frozen=True, kw_only=True)
class Field:
    """A solved field: the mesh, H in A/m and B in T as expressions, and how many unknowns it took."""

    mesh: Any
    h: Any
    b: Any
    unknowns: int


def meshed(pieces, air, far, *, grading):
    """Glue solids (solid, material, size) and fill the rest with air; `far` names a face of it or not."""
    rest = air
    for solid, name, size in pieces:
        solid.mat(name)
        solid.maxh = size
        rest = rest - solid
    rest.mat("air")
    for face in rest.faces:
        if far(face):
            face.name = "far"
    shape = Glue([*(p[0] for p in pieces), rest])
    for face in shape.faces:
        if far(face):
            face.name = "far"
    return ng.Mesh(OCCGeometry(shape).GenerateMesh(maxh=80, grading=grading))


def solve(mesh, iron, coil, points, ampere_turns):
    """Yield the field at each number of ampere-turns, each from the one before."""
    space = ng.H1(mesh, order=2, dirichlet="far", wb_withedges=False)
    u, v = space.TnT()
    law = fullair.table_law(ng, points)
    drive = ng.Parameter(ampere_turns[0])
    source = drive * coil.axial()
    field = source - ng.grad(u) / MM
    size2 = field * field + 1e-6
    solid, air = (ng.dx(definedon=mesh.Materials(m)) for m in (iron, "air|coil"))
    form = ng.BilinearForm(space, symmetric=True)
    form += fullair.energy(ng, law.Integrate()(ng.sqrt(size2)) * MM**3 * solid)
    form += fullair.energy(ng, 0.5 * fullair.MU0 * size2 * MM**3 * air)
    phi = ng.GridFunction(space)
    mu = mesh.MaterialCF(dict.fromkeys(iron.split("|"), 800 * fullair.MU0), default=fullair.MU0)
    start = ng.BilinearForm(mu * ng.grad(u) * ng.grad(v) * ng.dx).Assemble()
    load = ng.LinearForm(mu * MM * source * ng.grad(v) * ng.dx).Assemble()
    phi.vec.data = start.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky") * load.vec
    h = source - ng.grad(phi) / MM
    size = ng.sqrt(h * h + 1e-12)
    flux = mesh.MaterialCF(dict.fromkeys(iron.split("|"), law(size) / size), default=fullair.MU0) * h
    before = ampere_turns[0]
    for turns in ampere_turns:
        drive.Set(turns)
        phi.vec.data *= turns / before
        before = turns
        fullair.minimise(ng, space, form, phi, share=1e-5)
        yield turns, Field(mesh=mesh, h=h, b=flux, unknowns=space.ndof)


def static_force(size_mm=(4.0, 10.0, 8.0, 1.2)):
    """The quarter of problem 20: sizes in pole, yoke, hole of the winding and gap. Origin under the pole.

    The winding is drawn 0.2 mm lower than stated, 26.5 to 123.1 mm, level with the pole's end.
    """
    coil = Coil(half_mm=19.5, corner_mm=5.0, thick_mm=18.0, low_mm=26.5, high_mm=123.1, length_mm=96.6)
    quarter = Box(Pnt(0, 0, -1000), Pnt(1000, 1000, 1000))
    yoke = Box(Pnt(0, 0, 0), Pnt(63.5, 12.5, 150)) - Box(Pnt(0, -1, 25), Pnt(38.5, 13, 125))
    yoke = yoke - Box(Pnt(0, -1, 125), Pnt(13.5, 13, 151))
    pole = Box(Pnt(0, 0, 26.5), Pnt(12.5, 5, 125))
    hole = coil.block(outer=False) * quarter
    winding = coil.block(outer=True) * quarter - hole
    gap = Box(Pnt(0, 0, 25), Pnt(16, 9, 26.5))
    at = [63.5 + 150, 37.5 + 150, 150 + 150, -150.0]
    air = Box(Pnt(0, 0, at[3]), Pnt(*at[:3]))

    def far(face):
        low, high = face.bounding_box
        ends = (low.x - at[0], low.y - at[1], low.z - at[2], high.z - at[3])
        return min(abs(e) for e in ends) < 1e-6

    pieces = [(pole, "pole", size_mm[0]), (yoke, "yoke", size_mm[1]), (hole - pole, "air", size_mm[2])]
    return coil, meshed([*pieces, (winding, "coil", 8.0), (gap, "air", size_mm[3])], air, far, grading=0.4)


def steel_plates(plate_mm=6.0, gap_mm=1.0):
    """The upper half of problem 13: a middle plate and two channels, 0.5 mm apart, in the winding."""
    coil = Coil(half_mm=75.0, corner_mm=25.0, thick_mm=25.0, low_mm=0.0, high_mm=50.0, length_mm=100.0)
    middle = Box(Pnt(-1.6, -25, 0), Pnt(1.6, 25, 63.2))
    first = Box(Pnt(2.1, 15, 0), Pnt(125.3, 65, 63.2)) - Box(Pnt(2, 14, -1), Pnt(122.1, 66, 60))
    for face in first.faces:
        low, high = face.bounding_box
        if abs(low.x - 2.1) < 1e-6 and abs(high.x - 2.1) < 1e-6:
            face.maxh = 2.0
    second = first.Rotate(Axis((0, 0, 0), Z), 180)
    hole = coil.block(outer=False) - middle
    winding = coil.block(outer=True) - coil.block(outer=False)
    gaps = [Box(Pnt(1.6, 13, 58), Pnt(2.1, 27, 63.2)), Box(Pnt(-2.1, -27, 58), Pnt(-1.6, -13, 63.2))]
    air = Box(Pnt(-325, -300, 0), Pnt(325, 300, 263))

    def far(face):
        low, high = face.bounding_box
        ends = (low.x - 325, high.x + 325, low.y - 300, high.y + 300, low.z - 263, high.z)
        return min(abs(e) for e in ends) < 1e-6

    pieces = [(middle, "middle", plate_mm), (first, "first", plate_mm), (second, "second", plate_mm)]
    pieces += [(hole, "air", 40.0), (winding, "coil", 30.0), *((g, "air", gap_mm) for g in gaps)]
    return coil, meshed(pieces, air, far, grading=0.45)


def through(field, material, along, low_mm, high_mm, area_mm2):
    """Mean flux density through a plate's section between two stations, T."""
    space = ng.H1(field.mesh, order=1)
    ramp = ng.GridFunction(space)
    places = np.array([v.point for v in field.mesh.vertices])[:, "xyz".index(along)]
    ramp.vec.FV().NumPy()[:] = np.clip((places - low_mm) / (high_mm - low_mm), 0, 1)
    inside = ng.dx(definedon=field.mesh.Materials(material))
    return abs(ng.Integrate(field.b * ng.grad(ramp) * inside, field.mesh)) / area_mm2
