"""How deep and wide a Rockwell C test marks a part, and how much steel it needs under and beside the mark."""

from __future__ import annotations

import math

import numpy as np

STEP_MM = 0.002
"""Depth of one point of Rockwell C."""
FULL_HRC = 100.0
THICKNESS_DEPTHS = 10.0
"""A part is at least so many depths thick under a diamond cone."""
EDGE_WIDTHS = 2.5
"""The middle of a mark is at least so many widths of it from an edge."""
LOAD_N = 1471.0
"""Total test force of the C scale."""

_HV = ((20.0, 238.0), (30.0, 302.0), (40.0, 392.0), (50.0, 513.0), (60.0, 697.0), (65.0, 832.0))
_PYRAMID = 0.9272
_KGF_N = 9.80665


def mark_depth_mm(hardness_hrc: float) -> float:
    """Return the depth that a Rockwell C number counts, mm.

    Parameters
    ----------
    hardness_hrc : float

    Returns
    -------
    float

    References
    ----------
    ISO 6508-1 [@iso6508], definition of the number, from memory: HRC = 100 - h / 0.002 mm.
    """
    return (FULL_HRC - hardness_hrc) * STEP_MM


def least_thickness_mm(hardness_hrc: float) -> float:
    """Return how thick a part must be at least where it is tested, mm.

    Parameters
    ----------
    hardness_hrc : float

    Returns
    -------
    float

    References
    ----------
    ISO 6508-1 [@iso6508], from memory: ten times the permanent depth for the diamond cone.
    """
    return THICKNESS_DEPTHS * mark_depth_mm(hardness_hrc)


def mark_width_mm(hardness_hrc: float) -> float:
    """Return about how wide the mark of a Rockwell C test is, mm.

    Parameters
    ----------
    hardness_hrc : float
        From 20 to 65.

    Returns
    -------
    float

    Notes
    -----
    Closed form: the circle on which the test force makes the mean pressure of a Vickers test on the same
    steel, d = sqrt(4 F / (pi p)), p = 9.80665 HV / 0.9272; HV of each HRC by ASTM E140, from memory.
    """
    vickers = float(np.interp(hardness_hrc, [p[0] for p in _HV], [p[1] for p in _HV]))
    return math.sqrt(4.0 * LOAD_N / (math.pi * vickers * _KGF_N / _PYRAMID))


def least_edge_mm(hardness_hrc: float) -> float:
    """Return how far the middle of a mark must be from the edge of a face at least, mm.

    Parameters
    ----------
    hardness_hrc : float

    Returns
    -------
    float

    References
    ----------
    ISO 6508-1 [@iso6508], from memory: two and a half times the width of the mark.
    """
    return EDGE_WIDTHS * mark_width_mm(hardness_hrc)
