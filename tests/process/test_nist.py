"""Bores of a part drawn by NIST, closed by defeaturing: the volume against the sum of the features."""

from __future__ import annotations

import math
from pathlib import Path

import cadquery as cq
import pytest

from fixturecheck.kernel.stock import closed

PARTS = Path(__file__).resolve().parents[1] / "data" / "nist"


def _solid(name: str):
    return cq.importers.importStep(str(PARTS / name)).vals()[0].Solids()[0]


def _bores(solid, radius_mm: float) -> list[int]:
    """Faces of all through bores of a radius, which the files draw as two halves each."""
    return [
        i
        for i, face in enumerate(solid.Faces())
        if face.geomType() == "CYLINDER" and abs(_radius(face) - radius_mm) < 1e-3
    ]


def _radius(face) -> float:
    return next(e.radius() for e in face.Edges() if e.geomType() == "CIRCLE")


@pytest.mark.parametrize(
    ("name", "radius_mm", "count"), [("nist_ctc_03.stp", 7.9375, 4), ("nist_ctc_03.stp", 5.5626, 4)]
)
def test_bores_closed_add_their_cylinders(name: str, radius_mm: float, count: int) -> None:
    """Closed form: pi r2 times the length of each, which is its area over 2 pi r."""
    solid = _solid(name)
    faces = _bores(solid, radius_mm)
    area = sum(solid.Faces()[i].Area() for i in faces)
    filled = closed(solid, faces, "the bores")
    expected = math.pi * radius_mm**2 * area / (2 * math.pi * radius_mm)
    assert filled.Volume() - solid.Volume() == pytest.approx(expected, rel=1e-6)
    assert len(faces) == 2 * count
    assert filled.isValid()
