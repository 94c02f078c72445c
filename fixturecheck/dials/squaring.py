"""What a body that is not quite parallel to the travel does to the faces that are ground."""

from __future__ import annotations


def slant_mm(runout_mm: float, over_mm: float, length_mm: float) -> float:
    """Return how far a line runs out over a length, from what it runs out over another.

    References
    ----------
    Similar triangles, closed form.
    """
    return runout_mm / over_mm * length_mm


def allowed_runout_mm(limit_mm: float, over_mm: float, length_mm: float) -> float:
    """Return how far a body may run out over a length so that a face keeps its limit over its own.

    References
    ----------
    Similar triangles, closed form.
    """
    return limit_mm * over_mm / length_mm
