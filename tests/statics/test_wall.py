"""How far a wall bends: beams by hand, and the field of a block with its wall (NGSolve)."""

from __future__ import annotations

import math

import ngsolve as ng
import pytest
from netgen.occ import Glue, OCCGeometry, Rectangle

from fixturecheck.statics.stiffness import bent_mm

STEEL = {"youngs_modulus_mpa": 200e3, "poisson": 0.29}


def test_a_slender_wall_is_a_cantilever():
    """w L^4 / (8 E I), from memory: 10 N/mm on 100 mm of a wall 2 thick; shear and foot add a few percent."""
    by_hand = 10.0 * 100.0**4 / (8.0 * 200e3 * 10.0 * 2.0**3 / 12.0)
    found = bent_mm(force_n=1000.0, thick_mm=2.0, high_mm=100.0, long_mm=10.0, **STEEL)
    assert by_hand < found < 1.05 * by_hand


def test_a_push_near_the_foot_bends_it_less():
    """w a^4 / (8 E I) and what turns above it, w a^3 (h - a) / (6 E I): from memory."""
    stiff = 200e3 * 10.0 * 2.0**3 / 12.0
    w, a, h = 20.0, 50.0, 100.0
    by_hand = w * a**4 / (8 * stiff) + w * a**3 * (h - a) / (6 * stiff)
    found = bent_mm(force_n=w * a, thick_mm=2.0, high_mm=h, long_mm=10.0, pressed_mm=(0.0, a), **STEEL)
    assert by_hand < found < 1.08 * by_hand


def test_a_wall_between_two_feet():
    """w L^4 / (384 E I), from memory."""
    by_hand = 10.0 * 100.0**4 / (384.0 * 200e3 * 10.0 * 2.0**3 / 12.0)
    found = bent_mm(force_n=1000.0, thick_mm=2.0, high_mm=100.0, long_mm=10.0, both_ends=True, **STEEL)
    assert by_hand < found < 1.10 * by_hand


def test_a_wall_that_tapers_to_half_its_thickness():
    """12 F / (E b) times the integral of x^2 / t^3, x from the edge: 12 F L^3 / (E b t^3) (8 ln 2 - 5)."""
    by_hand = 12.0 * 100.0 * 100.0**3 / (200e3 * 10.0 * 4.0**3) * (8.0 * math.log(2.0) - 5.0)
    rows = [4.0 - 2.0 * (k + 0.5) / 20 for k in range(20)]
    sizes = {"thick_mm": rows, "high_mm": 100.0, "long_mm": 10.0}
    found = bent_mm(force_n=100.0, pressed_mm=(99.9, 100.0), **sizes, **STEEL)
    assert by_hand < found < 1.08 * by_hand


def field_mm(thick: float, high: float, low: float, both_ends: bool) -> float:
    """How far a wall of plane stress bends on a block, 1 mm long, under 1 N/mm2 from a height to its top."""
    foot = 8.0 * thick
    base = Rectangle(2 * foot, foot).Face().Move((-foot, -foot, 0))
    pressed = Rectangle(thick, high - low).Face().Move((0, low, 0))
    shape = base + (Rectangle(thick, low).Face() if low > 0 else base)
    shape = Glue([shape + Rectangle(thick, high).Face(), pressed])
    if both_ends:
        shape = Glue([base + base.Move((0, high + foot, 0)), Rectangle(thick, high).Face()])
    for edge in shape.edges:
        x, y = edge.center.x, edge.center.y
        if abs(x - thick) < 1e-6 and low < y < high:
            edge.name = "push"
        elif abs(y + foot) < 1e-6 or (both_ends and abs(y - high - foot) < 1e-6):
            edge.name = "fixed"
    mesh = ng.Mesh(OCCGeometry(shape, dim=2).GenerateMesh(maxh=thick / 3))
    space = ng.VectorH1(mesh, order=2, dirichlet="fixed")
    u, v = space.TnT()
    e, nu = STEEL["youngs_modulus_mpa"], STEEL["poisson"]
    strain = ng.Sym(ng.Grad(u))
    stress = e / (1 - nu**2) * ((1 - nu) * strain + nu * ng.Trace(strain) * ng.Id(2))
    a = ng.BilinearForm(ng.InnerProduct(stress, ng.Sym(ng.Grad(v))) * ng.dx).Assemble()
    f = ng.LinearForm(-1.0 * v[0] * ng.ds("push")).Assemble()
    moved = ng.GridFunction(space)
    moved.vec.data = a.mat.Inverse(space.FreeDofs(), "sparsecholesky") * f.vec
    at = (0.5 * thick, 0.5 * high) if both_ends else (0.5 * thick, high - 1e-6)
    return abs(moved(mesh(*at))[0])


@pytest.mark.parametrize(
    ("thick", "high", "low", "both_ends"),
    [(2.0, 12.0, 0.0, False), (4.0, 12.0, 0.0, False), (6.0, 12.0, 6.0, False), (2.0, 20.0, 0.0, True)],
)
def test_a_wall_on_a_block_as_its_field_says(thick, high, low, both_ends):
    """A stubby wall bends half as much again as a cantilever with a fixed foot."""
    field = field_mm(thick, high, low, both_ends)
    pressed = None if both_ends else (low, high)
    sizes = {"thick_mm": thick, "high_mm": high, "long_mm": 1.0}
    found = bent_mm(force_n=high - low, pressed_mm=pressed, both_ends=both_ends, **sizes, **STEEL)
    assert 0.95 * field < found < 1.25 * field
