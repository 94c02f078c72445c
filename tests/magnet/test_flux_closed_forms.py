"""The flux method against magnetic circuits that have a closed form, and against its own invariants."""

import math
from dataclasses import replace

import cadquery as cq
import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import ellipk

from fixturecheck.cache import FOLDER_VARIABLE, OFF, digest
from fixturecheck.constants import MU0_H_M
from fixturecheck.contact.placed import place_bodies
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.mesh.tetrahedra import MeshWish, TetMesher
from fixturecheck.kernel.shapes import Placed
from fixturecheck.magnet.air_gaps import Band, gap_regions
from fixturecheck.magnet.circuit import Fineness, _size_mm, arched_regions
from fixturecheck.magnet.field.bh import fit_law, linear_law
from fixturecheck.magnet.field.elements import IronBody
from fixturecheck.magnet.field.gaps import GapPatch, Kept, PoleSource, film_state
from fixturecheck.magnet.field.solve import solve_flux
from tests.magnet import fluxparts as parts

MESHER = TetMesher()


def bar(name, *, start_mm, long_mm, side_mm, law, size_mm):
    """A square bar along X as a mesh."""
    solid = cq.Workplane().box(long_mm, side_mm, side_mm, centered=(False, True, True)).val()
    (mesh,) = MESHER.meshes([MeshWish(name=name, solid=solid, size_mm=size_mm)])
    points = mesh.points_mm + np.array([start_mm, 0, 0])
    return IronBody(
        name=name, points_mm=points, tets=mesh.tets, facets=mesh.facets, facet_face=mesh.facet_face, law=law
    )


@pytest.mark.parametrize(("thick_mm", "size_mm"), [(5.0, 2.5), (0.5, math.hypot(60, 40) / 150)])
def test_elements_follow_how_thin_a_part_is_and_of_a_sheet_its_length(thick_mm, size_mm):
    """Half of the thickness, but of a sheet no less than a share of its diagonal: it could not be solved."""
    drawn = cq.Workplane().box(60, 40, thick_mm).val()
    (standing,) = place_bodies([Placed(name="part", solid=drawn, face_names=tuple("abcdef"))])
    assert _size_mm(standing, Fineness(size_mm=3.0)) == pytest.approx(size_mm)


def square(x_mm, side_mm, count):
    """Quadrature points of a square at x."""
    at = (np.arange(count) + 0.5) / count * side_mm - side_mm / 2
    y, z = (g.ravel() for g in np.meshgrid(at, at))
    return np.stack([np.full(y.size, x_mm), y, z], axis=1), np.full(y.size, (side_mm / count) ** 2)


def straight_core(*, core_mm, area_mm2, gap_mm, mmf_a, law, sizes=(3.0, 4.0), averaged=True):
    """A core cut at its gap and straightened: two bars, a gap between, the winding's force at the ends."""
    side, half = math.sqrt(area_mm2), core_mm / 2
    tiny = 1e-7
    left = bar("left", start_mm=-half, long_mm=half, side_mm=side, law=law, size_mm=sizes[0])
    right = bar("right", start_mm=gap_mm, long_mm=half, side_mm=side, law=law, size_mm=sizes[1])
    a, weight = square(0.0, side, 12)
    b, _ = square(gap_mm, side, 12)
    gap = GapPatch(
        name="gap", a="left", b="right", points_a_mm=a, points_b_mm=b, gap_mm=np.full(len(a), gap_mm),
        weight_mm2=weight, normal=np.tile([1.0, 0, 0], (len(a), 1)), averaged=averaged,
    )  # fmt: skip
    ends = []
    for name, x, sign in (("left", -half, 0.5), ("right", gap_mm + half, -0.5)):
        points, weight = square(x, side, 12)
        ends.append(
            PoleSource(body=name, points_mm=points, weight_mm2=weight, mmf_a=sign * mmf_a, gap_mm=tiny)
        )
    return [left, right], [gap], ends


CIRCUITS = {
    # Modelica Standard Library 4.0, FluxTubes.Examples.BasicExamples.ToroidalCoreAirgap: r = 50 mm,
    # d = 10 mm, mu_r = 1000, gap 1 mm, 500 turns, 1.5 A.
    "toroid with a gap": (2 * math.pi * 50 - 1, math.pi * 25, 1.0, 750.0, 1000.0, 5.6369e-5, 1e-4),
    # Fitzgerald, Kingsley and Umans, Electric Machinery, 7th ed., problems 1-1 and 1-2.
    "core with a gap, ideal iron": (250.0, 350.0, 2.4, 95 * 1.4, 1e9, 2.437e-5, 1e-3),
    "core with a gap, iron": (250.0, 350.0, 2.4, 95 * 1.4, 2350.0, 2.334e-5, 1e-3),
    # The same, 6th ed., example 1.1 (from memory): 500 turns, 0.8026 A for 1 T in 9 cm2.
    "core with a gap, 1 T": (300.0, 900.0, 0.5, 500 * 0.8026, 70e3, 9.0e-4, 5e-3),
    # Chapman, Electric Machinery Fundamentals, example 1-2: 40 cm of iron of 12 cm2, mu_r 4000, a gap of
    # 0.05 cm whose area fringing makes 5 % larger, 400 turns; 0.602 A for 0.5 T in the gap (from memory).
    "fringing gap": (400.0, 1200.0, 0.5 / 1.05, 400 * 0.602, 4000.0, 0.5 * 12.6e-4, 2e-3),
    # 0.5 T across 0.5 mm take H = 397 887 A/m, so 199 A: worked problem, "magnetic circuits problems".
    "gap alone, 0.5 T": (20.0, 100.0, 0.5, 199.0, 1e9, 0.5e-4, 1e-3),
    # Hughes and Drury, Electric Motors and Drives, answers: 2000 A over 2 mm, perfect iron, give 1.26 T.
    "gap alone, 1.26 T": (20.0, 100.0, 2.0, 2000.0, 1e9, 1.26e-4, 3e-3),
}


@pytest.mark.parametrize("name", CIRCUITS)
def test_flux_of_a_textbook_core(name, compared):
    core_mm, area_mm2, gap_mm, mmf_a, mu_r, flux_wb, tolerance = CIRCUITS[name]
    size = max(6.0, math.sqrt(area_mm2) / 2)
    model = straight_core(
        core_mm=core_mm, area_mm2=area_mm2, gap_mm=gap_mm, mmf_a=mmf_a, law=linear_law("core", mu_r=mu_r),
        sizes=(size, 1.3 * size),
    )  # fmt: skip
    solution = solve_flux(*model)
    assert solution.patches[0].flux_wb == pytest.approx(flux_wb, rel=tolerance)
    compared(f"flux, {name}", expected=flux_wb * 1e6, got=solution.patches[0].flux_wb * 1e6)
    if name == "toroid with a gap":
        assert solution.patches[0].pull_n == pytest.approx(16.097, rel=1e-3)
        compared(f"pull, {name}", expected=16.097, got=solution.patches[0].pull_n)
        assert solution.patches[0].flux_density_mean_t == pytest.approx(0.71772, rel=1e-4)


def test_a_tenth_of_the_flux_leaks_past_the_gap_of_a_published_core(compared):
    """Modelica Standard Library 4.0, FluxTubes.Examples.BasicExamples.QuadraticCoreAirgap: three legs of
    90 mm and one of 89 of 10 x 10 mm, mu_r = 1000, gap 1 mm, a tenth of the flux leaks past it, 500 turns,
    1.5 A. Its method by hand: mmf = flux (3 Rl + Rr + 0.9 Rg)."""
    irons, (gap,), ends = straight_core(
        core_mm=3 * 90.0 + 89.0, area_mm2=100.0, gap_mm=1.0, mmf_a=750.0, law=linear_law("core", mu_r=1000.0),
        sizes=(6.0, 7.0),
    )  # fmt: skip
    # What leaks past the gap is a tube beside it with a ninth of its conductance.
    leak = replace(gap, name="leak", gap_mm=9.0 * gap.gap_mm)
    solution = solve_flux(irons, [gap, leak], ends)
    through = {p.name: p.flux_wb for p in solution.patches}
    assert sum(through.values()) == pytest.approx(7.4859e-5, rel=1e-4)
    compared("flux, core with leakage", expected=74.859, got=sum(through.values()) * 1e6)
    assert sum(through.values()) / 1e-4 == pytest.approx(0.74859, rel=1e-4)
    assert through["gap"] / 1e-4 == pytest.approx(0.67373, rel=1e-4)


def test_pull_is_the_maxwell_pressure():
    """1 T pulls 397 887 Pa: B^2 / (2 mu0)."""
    model = straight_core(
        core_mm=20, area_mm2=100, gap_mm=0.01, mmf_a=0.01e-3 / MU0_H_M, law=linear_law("ideal", mu_r=1e9)
    )
    pull = solve_flux(*model).patches[0]
    assert pull.flux_density_mean_t == pytest.approx(1.0, rel=1e-4)
    assert pull.pull_n / pull.area_mm2 == pytest.approx(0.397887, rel=2e-4)
    assert pull.force_n == pytest.approx([pull.pull_n, 0, 0])
    assert pull.centre_mm == pytest.approx([0, 0, 0], abs=1e-6)


def exact_points(body, x_mm):
    """Middles of the sides of every surface triangle at x: exact for second-order functions."""
    corner = body.points_mm[body.facets]
    at_x = np.abs(corner[:, :, 0] - x_mm).max(axis=1) < 1e-6
    corner = corner[at_x]
    area = np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1) / 2
    middle = (corner + np.roll(corner, 1, axis=1)) / 2
    return middle.reshape(-1, 3), np.repeat(area / 3, 3)


def test_series_of_saturating_iron_and_gap():
    """Uniform flux through mirrored meshes: mmf = H(B) l + B g / mu0 has one root."""
    law = fit_law("1010", parts.STEEL_1010)
    left = bar("left", start_mm=-20, long_mm=20, side_mm=10, law=law, size_mm=3)
    flip = np.array([-1.0, 1, 1])
    right = IronBody(
        name="right",
        points_mm=left.points_mm * flip + np.array([0.05, 0, 0]),
        tets=left.tets,
        facets=left.facets,
        facet_face=left.facet_face,
        law=law,
    )
    points, weight = exact_points(left, 0.0)
    gap = GapPatch(
        name="gap",
        a="left",
        b="right",
        points_a_mm=points,
        points_b_mm=points + np.array([0.05, 0, 0]),
        gap_mm=np.full(len(points), 0.05),
        weight_mm2=weight,
        normal=np.tile([1.0, 0, 0], (len(points), 1)),
        averaged=False,
    )
    ends = []
    for body, x, sign in ((left, -20.0, 450.0), (right, 20.05, -450.0)):
        points, weight = exact_points(body, x)
        ends.append(PoleSource(body=body.name, points_mm=points, weight_mm2=weight, mmf_a=sign, gap_mm=1e-6))

    def missing(h):
        return h * 0.040 + float(law.flux_density_t(np.array(h))) * (0.05e-3 + 2e-9) / MU0_H_M - 900

    expected = float(law.flux_density_t(np.array(brentq(missing, 1, 1e6, xtol=1e-9))))
    assert expected > 1.8
    solution = solve_flux([left, right], [gap], ends, residual_share=1e-10)
    assert solution.patches[0].flux_density_mean_t == pytest.approx(expected, rel=1e-6)


def test_film_and_gap_in_series():
    """Each point's flux solves g B / mu0 + l H(B) = jump, and its energy integrates to it."""
    law = fit_law("1010", parts.STEEL_1010)
    jump = np.array([-300.0, -1.0, 1e-3, 0.5, 20.0, 400.0])
    gap = np.full(6, 5e-6)
    b, slope, energy = film_state(jump, gap, law, 1e-4)
    h = np.array(
        [brentq(lambda h, t=t: float(law.flux_density_t(np.array(h))) - t, 0, 1e8) for t in np.abs(b)]
    )
    assert gap * np.abs(b) / MU0_H_M + 1e-4 * h == pytest.approx(np.abs(jump), rel=1e-8)

    def at(v):
        return [float(x[0]) for x in film_state(np.array([v]), gap[:1], law, 1e-4)]

    for i, j in enumerate(jump):
        assert quad(lambda v: at(v)[0], 0, j, limit=400)[0] == pytest.approx(energy[i], rel=1e-5)
        step = 1e-4 * abs(j)
        assert (at(j + step)[0] - at(j - step)[0]) / (2 * step) == pytest.approx(slope[i], rel=1e-4)


def conductance_mm(solids, spacing_mm, seat_mm, band_mm=1.0):
    """Sum of area over gap between two bodies, mm."""
    bodies = place_bodies([parts.iron(f"b{i}", s).placed for i, s in enumerate(solids)])
    regions, left_out = gap_regions(bodies, lambda _i, _j: Band(band_mm=band_mm, fine_mm=0.3))
    assert not left_out
    fields = [r.sample(lambda p, _q: np.full(len(p), spacing_mm), spacing_mm) for r in regions]
    return sum(float((f.weight_mm2 / (f.gap_mm + seat_mm)).sum()) for f in fields)


def test_wedge_conducts_as_its_logarithm():
    """Between planes that open by theta from r1 to r2: L ln(r2/r1) / theta, by the arc tubes exactly."""
    opening = math.radians(10)
    under = cq.Workplane().box(40, 20, 5, centered=(False, True, False)).translate((0, 0, -5))
    over = cq.Workplane().box(6, 20, 4, centered=(False, True, False)).translate((2, 0, 0))
    over = over.rotate((0, 0, 0), (0, 1, 0), -10)
    closed = 20 * math.log(5.5 / 2) / opening
    found = conductance_mm([over.val(), under.val()], 0.1, 0.0, band_mm=5.5 * opening)
    assert found == pytest.approx(closed, rel=2e-3)


@pytest.mark.parametrize("radius_mm", [3.0, 8.0])
def test_cylinder_on_a_plane_conducts_as_its_integral(radius_mm):
    """Tubes of length R (1 - cos a) + g, within the band."""
    pin = cq.Workplane("XZ").circle(radius_mm).extrude(15, both=True).translate((0, 0, radius_mm)).val()
    seat, band = 0.02, 0.5
    edge = math.acos(1 - band / radius_mm)
    closed = 60 * quad(lambda a: radius_mm / (radius_mm * (1 - math.cos(a)) + seat), 0, edge)[0]
    found = conductance_mm([pin, parts.block(40, 40, 5, at=(0, 0, -5))], 0.1, seat, band_mm=band)
    assert found == pytest.approx(closed, rel=5e-3)


def test_pin_in_a_bore_conducts_as_a_coaxial_gap():
    """Concentric: area of the pin over the clearance."""
    pin = cq.Workplane().circle(4.0).extrude(10).val()
    ring = cq.Workplane().circle(9.0).circle(4.05).extrude(10).val()
    assert conductance_mm([pin, ring], 0.4, 0.0) == pytest.approx(2 * math.pi * 4.0 * 10 / 0.05, rel=1e-6)


def test_meshes_need_not_match():
    """The same core with one mesh on both sides and with two: the flux is the same."""
    law = fit_law("1018", parts.STEEL_1018)
    flux = []
    for sizes in ((3.0, 3.0), (3.0, 4.7), (2.1, 3.0)):
        model = straight_core(core_mm=40, area_mm2=100, gap_mm=0.005, mmf_a=120.0, law=law, sizes=sizes)
        flux.append(solve_flux(*model).patches[0].flux_wb)
    # Points sit on a grid, not on the triangles, so a coarse mesh is off by some 1e-4.
    assert flux[1:] == pytest.approx(flux[:1] * 2, rel=1e-3)


@pytest.fixture(scope="module")
def seated():
    return parts.model({"part": parts.block(25, 25, 12)}, parts.bars(), mesher=MESHER)


def test_the_magnet_lies_evenly_behind_the_whole_back_of_a_pole(seated):
    """Moments of a rectangle up to the fourth power, which two potentials of second order make."""
    source = seated.sources[0]
    body = next(b for b in seated.bodies if b.name == source.body)
    corners = body.points_mm[np.unique(body.facets[body.facet_face == source.face])][:, :2]
    low, high = corners.min(axis=0), corners.max(axis=0)
    x, y = ((source.points_mm[:, :2] - low) / (high - low)).T
    share = source.weight_mm2 / np.prod(high - low)
    for i, j in [(0, 0), (1, 0), (2, 2), (4, 0), (0, 4), (3, 1)]:
        assert share @ (x**i * y**j) == pytest.approx(1 / (i + 1) / (j + 1), rel=1e-9)


def test_what_flows_in_flows_out_and_both_poles_pull_alike(seated):
    solution = solve_flux(seated.bodies, seated.gaps, seated.sources, residual_share=1e-11)
    assert all(b.balance < 1e-10 for b in solution.bodies)
    assert solution.patches[0].flux_wb == pytest.approx(-solution.patches[1].flux_wb, rel=1e-8)
    assert solution.patches[0].pull_n == pytest.approx(solution.patches[1].pull_n, rel=0.01)
    assert solution.body("part").force_n[:2] == pytest.approx([0, 0], abs=0.5)
    total = sum(b.force_n for b in solution.bodies)
    assert total == pytest.approx([0, 0, 0], abs=1e-9)


def test_the_pull_is_the_derivative_of_the_energy_by_the_gap(seated):
    """Virtual work: dE/dg = -pull, by finite difference."""
    step = 1e-5

    def energy(more_mm):
        gaps = [replace(g, gap_mm=g.gap_mm + more_mm * g.counts) for g in seated.gaps]
        return solve_flux(seated.bodies, gaps, seated.sources, residual_share=1e-11).energy_j

    slope_n = (energy(step) - energy(-step)) / (2 * step * 1e-3)
    pull = sum(p.pull_n for p in seated.solve().patches)
    assert -slope_n == pytest.approx(pull, rel=1e-4)


def split(body):
    """The same body with every tetrahedron cut into eight, so that the old functions are among the new."""
    keys, inverse = np.unique(
        np.sort(body.tets[:, EDGES].reshape(-1, 2), axis=1), axis=0, return_inverse=True
    )
    count = len(body.points_mm)
    a, b, c, d = body.tets.T
    ab, ac, ad, bc, bd, cd = inverse.reshape(-1, 6).T + count
    inner = [(ab, ac, ad, bd), (ab, ac, bc, bd), (ac, ad, bd, cd), (ac, bc, bd, cd)]
    outer = [(a, ab, ac, ad), (ab, b, bc, bd), (ac, bc, c, cd), (ad, bd, cd, d)]
    middle = {tuple(k): i + count for i, k in enumerate(keys)}
    corner = body.facets
    pq, pr, qr = (
        np.array([middle[tuple(k)] for k in np.sort(corner[:, [i, j]], axis=1)])
        for i, j in ((0, 1), (0, 2), (1, 2))
    )
    p, q, r = corner.T
    facets = [(p, pq, pr), (pq, q, qr), (pr, qr, r), (pq, qr, pr)]
    return replace(
        body,
        points_mm=np.vstack([body.points_mm, body.points_mm[keys].mean(axis=1)]),
        tets=np.vstack([np.stack(t, axis=1) for t in inner + outer]),
        facets=np.vstack([np.stack(f, axis=1) for f in facets]),
        facet_face=np.tile(body.facet_face, 4),
    )


EDGES = [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)]


@pytest.fixture(scope="module")
def nested():
    """A coarse mesh, and tubes close enough together for one that is halved."""
    part = {"part": parts.block(25, 25, 12)}
    coarse, close = (parts.model(part, parts.bars(), fineness=Fineness(size_mm=size)) for size in (5.0, 2.5))
    return coarse.bodies, close.gaps, close.sources


@pytest.mark.slow
@pytest.mark.parametrize(
    ("saturating", "film", "averaged"),
    [(False, True, False), (False, False, False), (True, True, False), (True, True, True)],
)
def test_energy_falls_as_the_same_mesh_is_refined(nested, saturating, film, averaged, record_property):
    """Over nested spaces the least value of one function cannot rise, and what is pulled falls with it.

    It must fall where the iron is straight and the jump is taken at points: then every sum is the same
    function on both meshes, whatever the film. Two things bend that, and neither turns the fall here:
    four points in a tetrahedron are not exact for the coenergy of saturating iron (the same potential
    has 0.2 % more energy on the halved mesh), and an average over each triangle becomes a stricter
    function with smaller triangles. The tubes and the source's points are the same on all meshes; tubes
    that follow the mesh are another function each time, which is why energies of unlike meshes only
    settle. From 5 mm elements the first halving takes 0.1 % of the energy in straight iron and 0.6 % in
    saturating iron, with 2.5 % of the pull.
    """
    bodies, gaps, sources = nested
    law = parts.MILD if saturating else linear_law("straight", mu_r=1000.0)
    bodies = [replace(b, law=law) for b in bodies]
    gaps = [replace(g, averaged=averaged and g.averaged, film=g.film if film else None) for g in gaps]
    halved = [split(b) for b in bodies]
    found = [solve_flux(mesh, gaps, sources, residual_share=1e-10) for mesh in (bodies, halved)]
    energy, pull = [s.energy_j for s in found], [-s.body("part").force_n[2] for s in found]
    record_property("energy_j", energy)
    record_property("pull_n", pull)
    assert np.all(np.diff(energy) < 0)
    assert np.all(np.diff(pull) < 0)
    assert energy[0] > energy[-1] > 0.98 * energy[0]


@pytest.mark.slow
def test_energy_and_pull_settle_as_the_mesh_is_refined():
    """Meshes are not nested and points follow the mesh, so the energy settles but need not fall each time."""
    found = []
    for size in (5.0, 2.5, 1.7):
        solution = parts.model(
            {"part": parts.block(25, 25, 12)}, parts.bars(), fineness=Fineness(size_mm=size), mesher=MESHER
        ).solve()
        found.append((solution.energy_j, -solution.body("part").force_n[2]))
    energy, pull = zip(*found, strict=True)
    assert energy[1] == pytest.approx(energy[2], rel=2e-3)
    assert abs(pull[2] - pull[1]) < 0.015 * pull[2]


@pytest.mark.slow
def test_the_same_twice_to_the_last_bit(seated):
    first, second = seated.solve(), seated.solve()
    assert np.array_equal(first.body("part").force_n, second.body("part").force_n)
    again = parts.model({"part": parts.block(25, 25, 12)}, parts.bars(), mesher=TetMesher())
    assert np.array_equal(again.solve().body("part").force_n, first.body("part").force_n)


def test_a_body_out_of_reach_is_named_and_not_pulled():
    model = parts.model(
        {"part": parts.block(10, 10, 6, at=(-6.5, 0, 0)), "far": parts.block(10, 10, 6, at=(0, 0, 60))},
        parts.bars(),
    )
    solution = model.solve()
    assert solution.loose == ("far",)
    assert solution.body("far").force_n == pytest.approx([0, 0, 0])


def test_nothing_coupled_is_refused():
    model = parts.model({"part": parts.block(10, 10, 6)}, parts.bars())
    with pytest.raises(NotComputedError, match="coupled"):
        solve_flux(model.bodies[:1], [], [])


def test_a_moved_block_is_solved_again_but_not_meshed_again():
    mesher = TetMesher()
    parts.model({"part": parts.block(25, 25, 12)}, parts.bars(), mesher=mesher)
    made = mesher.meshed
    moved = parts.block(25, 25, 12).moved(cq.Location((2.0, 3.0, 0.0)))
    parts.model({"part": moved}, parts.bars(), mesher=mesher)
    assert mesher.meshed == made


def standing_open(land_mm=0.0, lift_mm=0.2):
    """A block above z = 0, on two lands along Y when they have a width."""
    solid = cq.Workplane(parts.block(25, 25, 12, at=(0, 0, lift_mm)))
    for x in (-9, 9) if land_mm else ():
        solid = solid.union(cq.Workplane(parts.block(land_mm, 25, lift_mm + 1, at=(x, 0, 0))))
    return solid.val().Solids()[0]


def test_open_face_beside_closed_seats_conducts_over_all_its_area():
    """Area over gap, of the lands and of the open face between them: parallel plates."""
    land, lift, seat = 0.5, 0.2, 0.01
    bodies = place_bodies(
        [parts.iron(n, s).placed for n, s in
         (("part", standing_open(land, lift)), ("plate", parts.block(60, 60, 5, at=(0, 0, -5))))]
    )  # fmt: skip
    regions, _ = gap_regions(bodies, lambda _i, _j: Band(band_mm=0.1, flat_mm=1.0, fine_mm=0.3))
    fields = [r.sample(lambda p, _q: np.full(len(p), 2.0), 2.0) for r in regions if r.flat]
    found = sum(float((f.weight_mm2 / (f.gap_mm + seat)).sum()) for f in fields)
    assert found == pytest.approx(2 * land * 25 / seat + (25 - 2 * land) * 25 / (lift + seat), rel=1e-6)


def test_pull_does_not_fall_when_lands_close_the_seat():
    """The lands only add iron where there was air: more flux crosses, so more pull (a variational bound)."""
    coarse = {"size_mm": 6.0, "fine_mm": 3.0}
    bare = parts.hold({"part": standing_open()}, parts.bars(), fineness=Fineness(**coarse))
    # Closed seats are followed a tenth of a millimetre through air; open ones a whole one.
    lands = parts.hold({"part": standing_open(0.3)}, parts.bars(), fineness=Fineness(band_mm=0.1, **coarse))
    assert lands[2] < bare[2] < 0


def test_fields_on_one_frame_are_those_that_are_solved_alone(monkeypatch):
    """Other iron, gap and magnet on the same meshes: the first changes nothing of the next."""
    monkeypatch.setenv(FOLDER_VARIABLE, OFF)
    shape = {"core_mm": 100.0, "area_mm2": 100.0, "gap_mm": 1.0, "mmf_a": 300.0, "sizes": (6.0, 8.0)}
    bodies, gaps, sources = straight_core(**shape, law=linear_law("core", mu_r=500.0))
    kept = Kept()
    solve_flux(bodies, gaps, sources, kept=kept)
    bodies = [b.of(linear_law("core", mu_r=50.0)) for b in bodies]
    gaps = [replace(g, gap_mm=0.5 * g.gap_mm) for g in gaps]
    sources = [replace(s, mmf_a=0.1 * s.mmf_a) for s in sources]
    shared, alone = solve_flux(bodies, gaps, sources, kept=kept), solve_flux(bodies, gaps, sources)
    assert [p.pull_n for p in shared.patches] == [p.pull_n for p in alone.patches]
    assert digest(kept) == digest(Kept())


def arched(solids, loose=()):
    """The arcs between the first two bodies, each with its conductance over mu0, mm."""
    bodies = place_bodies(
        [
            Placed(name=f"body{n}", solid=s, face_names=tuple(f"f{i}" for i in range(len(faces_of(s)))))
            for n, s in enumerate(solids)
        ]
    )
    regions = arched_regions(bodies, lambda i, j: (i, j) == (0, 1), loose, 12.0)
    fields = [region.sample(lambda a, _b: np.full(len(a), 1.0), 1e3) for region in regions]
    return [(field, float((field.weight_mm2 / field.gap_mm).sum())) for field in fields]


def test_tops_of_a_chuck_leak_as_a_row_of_strips_does():
    """Of a row of strips a gap has K(k) / 2 K(k'), k = sin(pi w / 2 p): Igreja and Dias 2004, from memory.

    The arcs between two alone are (1 / pi) ln(1 + 2 w / s), which is a seventh less of it here.
    """
    wide, space, long_mm = 20.0, 5.0, 60.0
    bars = [
        cq.Workplane().box(wide, long_mm, 20).translate((side * (wide + space) / 2, 0, -10)).val()
        for side in (-1, 1)
    ]
    tops = [c for field, c in arched(bars) if np.allclose(field.points_a_mm[:, 2], 0.0)]
    assert tops == pytest.approx([long_mm / math.pi * math.log(1 + 2 * wide / space)], rel=0.01)
    k2 = math.sin(math.pi / 2 * wide / (wide + space)) ** 2
    row = long_mm * 0.5 * ellipk(k2) / ellipk(1.0 - k2)
    assert 0.85 * row < tops[0] < row


def test_flanks_of_a_v_leak_in_arcs_that_a_part_bars():
    """Between planes that meet, from r to R: (L / angle) ln(R / r). A part bars arcs as far as it reaches."""
    outline = [(2.0, 2.0), (30.0, 30.0), (35.0, 30.0), (35.0, -20.0), (2.0, -20.0)]
    halves = [
        cq.Workplane("XZ")
        .polyline([(side * x, z) for x, z in outline])
        .close()
        .extrude(50.0, both=True)
        .val()
        for side in (-1, 1)
    ]

    def leaks(*parts_):
        every = arched([*halves, *parts_], range(2, 2 + len(parts_)))
        return sum(
            c for field, c in every if (field.points_a_mm[:, 2] > 2.0).all() and np.ptp(field.gap_mm) > 1
        )

    near, far = 2.0 * math.sqrt(2), 30.0 * math.sqrt(2)
    whole = 100.0 / (math.pi / 2) * math.log(far / near)
    assert leaks() == pytest.approx(whole, rel=0.02)
    bar = parts.nested_bar(side_mm=10.0, long_mm=40.0)
    # Straight up the bar reaches as far from the line as its diagonal.
    less = 40.0 / (math.pi / 2) * math.log(10.0 * math.sqrt(2) / near)
    assert leaks(bar) == pytest.approx(whole - less, rel=0.02)
