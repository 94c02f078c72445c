"""What pictures of a hold are given: maps that add up to the pull, and flux that runs from north to south."""

from __future__ import annotations

import numpy as np
import pytest

from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.shapes import Placed
from fixturecheck.magnet.circuit import Fineness, Iron, MagnetModel, Pole, magnet_model
from fixturecheck.magnet.field.bh import fit_law
from fixturecheck.magnet.field.gaps import GapPatch
from fixturecheck.magnet.plotted import flux_section, maps_of
from fixturecheck.magnet.pull import FacePull, Magnet, Pulls
from fixturecheck.magnet.rating import MagnetSource
from fixturecheck.result.hold import FluxSection
from fixturecheck.shop.tables import material

SIX = ("minus_x", "plus_x", "minus_y", "plus_y", "base", "top")


def pulls_over(points_mm: np.ndarray, areas_mm2: np.ndarray, pressure_n_mm2: np.ndarray) -> Pulls:
    """One pair of faces with a known pull over it."""
    total = float(areas_mm2 @ pressure_n_mm2)
    normal = np.tile([0.0, 0.0, -1.0], (len(points_mm), 1))
    gap = GapPatch(
        name="part.seat on pole.top", a="part", b="pole", points_a_mm=points_mm, points_b_mm=points_mm,
        gap_mm=np.full(len(points_mm), 0.01), weight_mm2=areas_mm2, normal=normal,
    )  # fmt: skip
    model = MagnetModel(bodies=(), gaps=(gap,), sources=(), regions=(), left_out=(), coarse={})
    face = FacePull(
        a=FaceRef("part.seat"), b=FaceRef("pole.top"), weak_n=total, strong_n=total,
        weak_at_mm=points_mm.mean(axis=0),
        strong_at_mm=points_mm.mean(axis=0), toward=-np.eye(3)[2], area_mm2=float(areas_mm2.sum()),
        flux_density_t=1.0, low_share=1.0, high_share=1.0, points_mm=points_mm, pressure_n_mm2=pressure_n_mm2,
    )  # fmt: skip
    return Pulls(faces=(face,), model=model)


def cells(across: int, along: int) -> tuple[np.ndarray, np.ndarray]:
    """Cut a face of 20 x 10 mm into oblong cells of uneven width."""
    rng = np.random.default_rng(7)
    xs, ys = (np.cumsum([0.0, *rng.uniform(0.6, 1.4, n)]) for n in (across, along))
    xs, ys = 20.0 * xs / xs[-1], 10.0 * ys / ys[-1]
    middles = np.stack(np.meshgrid((xs[1:] + xs[:-1]) / 2, (ys[1:] + ys[:-1]) / 2, indexing="ij"), axis=-1)
    areas = np.outer(np.diff(xs), np.diff(ys)).ravel()
    flat = middles.reshape(-1, 2)
    return np.column_stack([flat, np.full(len(flat), 3.0)]), areas


def test_an_even_pull_is_drawn_even_and_adds_up() -> None:
    """0.5 N/mm2 on 20 x 10 mm: 50 N/cm2, 100 N."""
    points, areas = cells(30, 12)
    found = maps_of(pulls_over(points, areas, np.full(len(areas), 0.5)))[0]
    assert np.array(found.pull_n_cm2) == pytest.approx(50.0)
    total_n = np.array(found.pull_n_cm2) @ np.array(found.area_mm2) / 100.0
    assert total_n == pytest.approx(100.0, rel=0.04)
    assert len(set(found.area_mm2)) == 1


def test_a_slope_of_pull_is_kept_where_it_is() -> None:
    points, areas = cells(40, 20)
    found = maps_of(pulls_over(points, areas, 0.05 * points[:, 0]))[0]
    x = np.array(found.points_mm)[:, 0]
    # No square is farther from the middle of a cell in it than the cell's own half width and its own.
    assert np.array(found.pull_n_cm2) == pytest.approx(5.0 * x, abs=5.0 * 0.8)
    assert np.array(found.points_mm)[:, 2] == pytest.approx(3.0)


def test_a_narrow_land_is_drawn_with_its_own_cells() -> None:
    points = np.column_stack([np.linspace(0, 20, 200), np.full(200, 0.05), np.zeros(200)])
    found = maps_of(pulls_over(points, np.full(200, 0.01), np.full(200, 1.0)))[0]
    assert np.array(found.points_mm) == pytest.approx(points)
    assert sum(found.area_mm2) == pytest.approx(2.0)


def test_a_hard_line_beside_a_weak_band_does_not_spread() -> None:
    """180 N/cm2 on a line 0.01 mm wide and 40 long, 2 N/cm2 on 1.2 mm beside it: 0.72 N and 0.96 N."""
    x = np.linspace(0.0, 40.0, 70)
    line = np.column_stack([x, np.zeros(70), np.zeros(70)])
    band = np.array([(a, b, 0.0) for a in np.linspace(0, 40, 100) for b in np.linspace(0.1, 1.2, 6)])
    areas = np.concatenate([np.full(70, 0.4 / 70), np.full(600, 48.0 / 600)])
    pull = np.concatenate([np.full(70, 1.8), np.full(600, 0.02)])
    found = maps_of(pulls_over(np.vstack([line, band]), areas, pull))[0]
    total_n = np.array(found.pull_n_cm2) @ np.array(found.area_mm2) / 100.0
    assert total_n == pytest.approx(0.72 + 0.96, rel=1e-6)


def test_without_a_magnet_there_is_nothing_to_draw() -> None:
    assert maps_of(None) == ()
    assert flux_section(None) is None


@pytest.fixture(scope="module")
def pulls() -> Pulls:
    """A block of 40 x 20 x 12 across a north and a south pole of 14 x 20 x 15, 12 mm apart."""
    steel = fit_law("steel_1018", material("steel_1018").bh)

    def body(name: str, low: tuple[float, ...], high: tuple[float, ...], mmf_a: float) -> Iron:
        solid = box(low, high)
        pole = Pole(mmf_a=mmf_a, source_gap_mm=0.1, back_faces=(4,)) if mmf_a else None
        return Iron(placed=Placed(name=name, solid=solid, face_names=SIX), law=steel, pole=pole)

    irons = [
        body("north", (-20.0, -10.0, -15.0), (-6.0, 10.0, 0.0), 150.0),
        body("south", (6.0, -10.0, -15.0), (20.0, 10.0, 0.0), -150.0),
        body("block", (-20.0, -10.0, 0.0), (20.0, 10.0, 12.0), 0.0),
    ]
    model = magnet_model(
        irons, seat_gap_um=lambda _a, _b: 5.0, fineness=Fineness(size_mm=4.0, fine_mm=2.0, leak_mm=1.0)
    )
    source = MagnetSource(mmf_a=150.0, gap_mm=0.1, piece="none")
    return Magnet(weak=model, strong=model, source=source, notes=()).pulls(1.0)


@pytest.fixture(scope="module")
def section(pulls: Pulls) -> FluxSection:
    found = flux_section(pulls)
    assert found is not None
    return found


def test_the_section_lies_along_the_flux(section: FluxSection) -> None:
    assert section.normal == (0.0, 1.0, 0.0)
    assert {letter: round(place[0]) for letter, place in section.poles} == {"N": -13, "S": 13}


def test_flux_rises_from_north_crosses_and_falls_into_south(section: FluxSection) -> None:
    points, density = np.array(section.points_mm), np.array(section.flux_density_t)
    low = points[:, 2] < -2
    assert (density[low & (points[:, 0] < 0), 2] > 0).all()
    assert (density[low & (points[:, 0] > 0), 2] < 0).all()
    between = (points[:, 2] > 2) & (np.abs(points[:, 0]) < 4)
    assert between.any()
    assert (density[between, 0] > 0).all()


def test_as_much_flux_crosses_the_block_as_enters_it(section: FluxSection, pulls: Pulls) -> None:
    """Gauss: what enters over the north pole crosses the middle of the block, mean density times section."""
    points, density = np.array(section.points_mm), np.array(section.flux_density_t)
    middle = (points[:, 2] > 0) & (np.abs(points[:, 0]) < section.spacing_mm)
    crossing_wb = density[middle, 0].mean() * 20.0 * 12.0 * 1e-6
    assert pulls.solved is not None
    entering_wb = next(abs(p.flux_wb) for p in pulls.solved.patches if "north" in p.name)
    assert crossing_wb == pytest.approx(entering_wb, rel=0.08)


def test_maps_of_a_solved_field_add_up_to_its_pull(pulls: Pulls) -> None:
    for found, face in zip(maps_of(pulls), pulls.faces, strict=True):
        total_n = np.array(found.pull_n_cm2) @ np.array(found.area_mm2) / 100.0
        assert total_n == pytest.approx(face.weak_n, rel=1e-3)


def test_outlines_go_round_the_bodies(section: FluxSection) -> None:
    """Perimeter of a pole of 14 x 15 and of the block of 40 x 12, by hand."""
    around = {
        name: sum(float(np.linalg.norm(np.subtract(b, a))) for a, b in pieces)
        for name, pieces in section.outlines
    }
    assert around == pytest.approx({"north": 58.0, "south": 58.0, "block": 104.0}, rel=1e-4)
