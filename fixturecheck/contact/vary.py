"""How one face of a body varies: it shifts along its normal, and leans where it is flat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Varies:
    """Which errors a face has, and what they do along it.

    Parameters
    ----------
    column : int
        Where its errors stand among all errors: its shift, then its slopes.
    middle_mm : ndarray, shape (3,)
        Where the shift is that of the face, in the body's frame.
    ways : ndarray, shape (0 or 2, 3)
        Directions in the face that it leans along, each as long as one mm of error turns into slope there;
        none for a face that only shifts.
    """

    column: int
    middle_mm: Floats
    ways: Floats

    def shares(self, local_mm: Floats) -> Floats:
        """Return how far a place of the face goes outward with each of its errors, mm per mm."""
        return np.concatenate(([1.0], self.ways @ (local_mm - self.middle_mm)))

    def columns(self) -> slice:
        """Return where its errors stand."""
        return slice(self.column, self.column + 1 + len(self.ways))

    def error(self, errors_mm: Floats) -> Error:
        """Return where the face is for one draw of all errors."""
        own = errors_mm[self.columns()]
        return Error(shift_mm=float(own[0]), lean=own[1:] @ self.ways, middle_mm=self.middle_mm)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Error:
    """Where a face is instead of where it is drawn.

    Parameters
    ----------
    shift_mm : float
        How far outward its middle is.
    lean : ndarray, shape (3,)
        How much further outward for each mm along the face.
    """

    shift_mm: float
    lean: Floats
    middle_mm: Floats

    def at_mm(self, places_mm: Floats) -> Floats:
        """Return how far outward places (..., 3) of the face are."""
        return np.asarray(self.shift_mm + (places_mm - self.middle_mm) @ self.lean)

    def normal(self, normal: Floats) -> Floats:
        """Return the outward normal of the face as it is, from that drawn."""
        turned = normal - self.lean
        return np.asarray(turned / np.linalg.norm(turned))
