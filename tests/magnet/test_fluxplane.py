"""Flux density at points and outlines in a plane, against closed forms on a block of known potential."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from fixturecheck.magnet.field.bh import fit_law
from fixturecheck.magnet.field.elements import IronBody, flux_density_t, mean_square_t2, outline_mm
from fixturecheck.shop.tables import material

SIZE_MM = np.array([8.0, 6.0, 4.0])


@pytest.fixture(scope="module")
def block() -> IronBody:
    """A block of 8 x 6 x 4 mm: bricks of a slightly shaken grid, each cut into six about its diagonal."""
    rng = np.random.default_rng(11)
    counts = (6, 5, 4)
    lines = [np.linspace(0, size, n) for size, n in zip(SIZE_MM, counts, strict=True)]
    grid = np.stack(np.meshgrid(*lines, indexing="ij"), axis=-1).reshape(-1, 3)
    inside = ((grid > 0) & (grid < SIZE_MM)).all(axis=1)
    grid[inside] += rng.uniform(-0.2, 0.2, (inside.sum(), 3))
    first = np.stack(np.meshgrid(*(np.arange(n - 1) for n in counts), indexing="ij"), axis=-1).reshape(-1, 3)
    steps = [np.cumsum([np.zeros(3, int), *np.eye(3, dtype=int)[list(order)]], axis=0)
             for order in permutations(range(3))]  # fmt: skip
    tets = np.vstack(
        [np.ravel_multi_index((first[:, None] + step).transpose(2, 0, 1), counts) for step in steps]
    )
    corners = np.vstack([tets[:, k] for k in ([0, 1, 2], [0, 1, 3], [0, 2, 3], [1, 2, 3])])
    kinds, times = np.unique(np.sort(corners, axis=1), axis=0, return_counts=True)
    facets = kinds[times == 1]
    steel = material("steel_1018")
    return IronBody(
        name="block", points_mm=grid, tets=tets, facets=facets,
        facet_face=np.zeros(len(facets), dtype=np.int64), law=fit_law("steel_1018", steel.bh),
    )  # fmt: skip


def potential(body: IronBody, value) -> np.ndarray:
    """Return the unknowns of a function: its values at corners and in the middle of edges."""
    middles = body.points_mm[body.net.edges].mean(axis=1)
    return value(np.vstack([body.points_mm, middles]))


def test_a_quadratic_potential_gives_its_exact_gradient(block: IronBody) -> None:
    """H = -grad phi, and B lies along H by the iron's own curve: closed form."""

    def phi(p: np.ndarray) -> np.ndarray:
        x, y, z = p.T
        return 3.0 * x + 0.5 * x * y - 0.25 * z**2 + 2.0 * z

    points = np.random.default_rng(2).uniform(0.3, 1.0, (40, 3)) * (SIZE_MM - 0.4)
    x, y, z = points.T
    field = -np.stack([3.0 + 0.5 * y, 0.5 * x, 2.0 - 0.5 * z], axis=1) * 1e3  # A/mm to A/m
    size = np.linalg.norm(field, axis=1)
    wanted = field / size[:, None] * block.law.flux_density_t(size)[:, None]
    assert flux_density_t(block, potential(block, phi), points) == pytest.approx(wanted, rel=1e-9)


def test_outside_is_not_a_number(block: IronBody) -> None:
    points = np.array([[4.0, 3.0, 2.0], [9.0, 3.0, 2.0], [4.0, -0.1, 2.0]])
    found = flux_density_t(block, potential(block, lambda p: p[:, 0]), points)
    assert np.isnan(found).all(axis=1).tolist() == [False, True, True]


def test_mean_square_of_even_flux_is_its_square_times_volume(block: IronBody) -> None:
    level = block.law.flux_density_t(np.array([2000.0]))[0]
    found = mean_square_t2(block, potential(block, lambda p: 2.0 * p[:, 1]))
    assert found == pytest.approx([0.0, level**2 * SIZE_MM.prod() * 1e-9, 0.0], abs=1e-15)


@pytest.mark.parametrize(
    ("normal", "perimeter_mm"),
    [((0.0, 0.0, 1.0), 2 * (8 + 6)), ((1.0, 0.0, 0.0), 2 * (6 + 4)), ((0.0, 0.8, 0.6), 2 * (8 + 5.0))],
)
def test_outline_of_a_block_has_its_perimeter(block: IronBody, normal, perimeter_mm) -> None:
    """Through the middle; the tilted plane meets top and bottom, 4 / 0.8 = 5 apart, by Pythagoras."""
    pieces = outline_mm(block, np.array(normal), 0.5 * SIZE_MM)
    assert np.linalg.norm(pieces[:, 1] - pieces[:, 0], axis=1).sum() == pytest.approx(perimeter_mm, rel=1e-5)
