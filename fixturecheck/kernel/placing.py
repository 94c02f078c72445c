"""Where something stands, as a matrix and back."""

from __future__ import annotations

import cadquery as cq
import numpy as np
from numpy.typing import NDArray
from OCP.gp import gp_Trsf
from OCP.TopLoc import TopLoc_Location

Floats = NDArray[np.float64]


def matrix_of(location: cq.Location) -> Floats:
    """Return a location as a 4 x 4 matrix, mm."""
    trsf = location.wrapped.Transformation()
    out = np.eye(4)
    for i in range(3):
        for j in range(4):
            out[i, j] = trsf.Value(i + 1, j + 1)
    return out


def location_of(matrix: Floats) -> cq.Location:
    """Return the location of a rigid matrix, (3, 4) or (4, 4)."""
    trsf = gp_Trsf()
    trsf.SetValues(*(float(v) for v in np.asarray(matrix)[:3].ravel()))
    return cq.Location(TopLoc_Location(trsf))
