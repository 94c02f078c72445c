"""Closed forms of the curved surfaces: how far a point is from one, and which way is out."""

from __future__ import annotations

import math

import numpy as np

from fixturecheck.kernel.brep.primitives import Array, Surface


def signed_distance(surface: Surface, points: Array) -> Array | None:
    """Return the distance of points (n, 3) from the untrimmed surface, positive outside the material.

    Returns None for a surface without a closed form.
    """
    x = points - surface.origin
    height = x @ surface.axis
    radius = np.linalg.norm(x - height[:, None] * surface.axis, axis=1)
    if surface.kind == "cylinder":
        away = radius - surface.radius_mm
    elif surface.kind == "sphere":
        away = np.linalg.norm(x, axis=1) - surface.radius_mm
    elif surface.kind == "cone":
        away = radius * math.cos(surface.half_angle_rad) - height * math.sin(surface.half_angle_rad)
    elif surface.kind == "torus":
        away = np.hypot(radius - surface.radius_mm, height) - surface.minor_radius_mm
    else:
        return None
    return np.asarray(surface.outward * away)


def normal_out(surface: Surface, point: Array) -> Array:
    """Return the unit normal out of the material at the point of the surface nearest to `point`.

    Raises
    ------
    ValueError
        The surface has no closed form.
    """
    x = point - surface.origin
    height = float(x @ surface.axis)
    radial = x - height * surface.axis
    size = float(np.linalg.norm(radial))
    unit = radial / size if size > 0 else radial
    if surface.kind == "cylinder":
        normal = unit
    elif surface.kind == "sphere":
        normal = x / np.linalg.norm(x)
    elif surface.kind == "cone":
        # At the apex every way round is as near: the axis is the middle of them.
        lean = surface.half_angle_rad if size > 0 else math.pi / 2
        normal = math.cos(lean) * unit - math.sin(lean) * surface.axis
    elif surface.kind == "torus":
        tube = x - surface.radius_mm * unit
        normal = tube / np.linalg.norm(tube)
    else:
        message = f"a surface of kind {surface.kind} has no closed form for its normal"
        raise ValueError(message)
    return np.asarray(surface.outward * normal)
