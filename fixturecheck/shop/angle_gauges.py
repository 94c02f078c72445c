"""Angle gauges wrung together as solids: wedges, each with its thick end toward +Y or turned round."""

from __future__ import annotations

import math

from fixturecheck.angles.incline import angle_gauge_incline
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.kernel.construct import Point2
from fixturecheck.shop.piece import Outline, Piece

_FINISH = {"base": "lapped", "incline": "lapped", "*": "ground"}


def angle_gauges(
    *,
    angle_deg: float,
    angle_set: str,
    length_mm: float,
    width_mm: float,
    toe_mm: float,
    error_arcsec: float,
    material: str,
) -> tuple[Piece, ...]:
    """Return the gauges from below; the top of the last one makes the slope, which rises toward +Y.

    The origin is in the middle of the lower edge at -Y.

    Parameters
    ----------
    angle_deg, length_mm, width_mm, toe_mm, error_arcsec : float
    angle_set, material : str
        As the shop's table says.

    Returns
    -------
    tuple of Piece

    Raises
    ------
    SetupError
        The angle is beyond the set.
    """
    try:
        incline = angle_gauge_incline(angle_set, angle_deg, error_arcsec)
    except NotComputedError as reason:
        message = f"angle_gauges: {reason}"
        raise SetupError(message) from reason
    pieces: list[Piece] = []
    start, lean_rad = (0.0, 0.0), 0.0
    for number, size_arcsec in enumerate(incline.gauges_arcsec, start=1):
        turn_rad = math.radians(size_arcsec / 3600.0)
        corners = _wedge(start, lean_rad, turn_rad, length_mm, toe_mm)
        outline = Outline(corners=corners, sides=["base", "heel", "incline", "toe"])
        solid, faces = outline.prism(length_mm=width_mm)
        last = number == len(incline.gauges_arcsec)
        pieces.append(
            Piece(
                suffix=f"gauge_{number}",
                solid=solid,
                faces=faces,
                material=material,
                finish=_FINISH,
                inclines=(incline,) if last else (),
            )
        )
        start, lean_rad = corners[3], lean_rad + turn_rad
    return tuple(pieces)


def _wedge(start: Point2, lean_rad: float, turn_rad: float, length_mm: float, toe_mm: float) -> list[Point2]:
    """Return the corners (y, z) of a wedge on a slope, counter-clockwise from +X, from its foot at -Y."""
    along = math.cos(lean_rad), math.sin(lean_rad)
    up = -along[1], along[0]
    rise_mm = length_mm * math.tan(abs(turn_rad))
    near_mm, far_mm = (toe_mm, toe_mm + rise_mm) if turn_rad >= 0.0 else (toe_mm + rise_mm, toe_mm)

    def at(along_mm: float, up_mm: float) -> Point2:
        return (
            start[0] + along_mm * along[0] + up_mm * up[0],
            start[1] + along_mm * along[1] + up_mm * up[1],
        )

    return [at(0.0, 0.0), at(length_mm, 0.0), at(length_mm, far_mm), at(0.0, near_mm)]
