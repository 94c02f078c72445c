"""Pole pieces set in a plate: how many of which size, and where."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from fixturecheck.errors import SetupError
from fixturecheck.result.shapes import Vector
from fixturecheck.shop.piece import Piece, named_box

_MOST_POLES = 400

_Bar = tuple[Vector, Vector]
"""Two opposite corners of a pole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleLayout:
    """Iron bars in a plate, alternately north and south.

    Parameters
    ----------
    pole_pitch_mm, spacer_mm : float
        From one pole to the next, and between two.
    frame_mm : float
        Border without poles, at least.
    pole_direction : str
        The axis along which each pole runs, `x` or `y`.
    material : str
        Of the poles.
    """

    pole_pitch_mm: float
    spacer_mm: float
    frame_mm: float
    pole_direction: str
    material: str

    def poles(self, kind: str, low: Vector, high: Vector) -> tuple[Piece, ...]:
        """Return as many poles as fit inside the frame of a plate, in the middle of it; odd ones are north.

        Parameters
        ----------
        kind : str
            The equipment, for messages.
        low, high : Vector
            Opposite corners of the plate; the poles are as high.

        Raises
        ------
        SetupError
            There is no room for two poles, or they are too many to handle one by one.
        """
        bars = enumerate(self._bars(kind, low, high), start=1)
        return tuple(_pole(number, bar, self.material) for number, bar in bars)

    def _bars(self, kind: str, low: Vector, high: Vector) -> Iterator[_Bar]:
        """Yield the corners of each pole in turn along the axis on which they repeat."""
        across = 1 if self.pole_direction == "x" else 0
        along = 1 - across
        pitch_mm, frame_mm = self.pole_pitch_mm, self.frame_mm
        iron_mm = pitch_mm - self.spacer_mm
        if iron_mm <= 0:
            message = f"{kind}: spacer_mm {self.spacer_mm:g} leaves no iron in pole_pitch_mm {pitch_mm:g}"
            raise SetupError(message)
        room_mm = [b - a - 2 * frame_mm for a, b in zip(low, high, strict=True)]
        # The small addition keeps a plate that is an exact number of pitches from losing one to rounding.
        count = math.floor((room_mm[across] + self.spacer_mm) / pitch_mm + 1e-9)
        if count < 2 or room_mm[along] <= 0:
            message = (
                f"{kind}: no room for two poles of pitch {pitch_mm:g} mm inside a frame of {frame_mm:g} mm; "
                "make the plate longer or the pitch smaller"
            )
            raise SetupError(message)
        if count > _MOST_POLES:
            message = (
                f"{kind}: {count} poles are more than a field can be worked out for; take a larger "
                "pole_pitch_mm"
            )
            raise SetupError(message)
        middle_mm = (low[across] + high[across]) / 2
        first_mm = middle_mm - (count * pitch_mm - self.spacer_mm) / 2
        for i in range(count):
            start, end = [0.0, 0.0, low[2]], [0.0, 0.0, high[2]]
            start[across], end[across] = first_mm + i * pitch_mm, first_mm + i * pitch_mm + iron_mm
            start[along], end[along] = low[along] + frame_mm, high[along] - frame_mm
            yield (start[0], start[1], start[2]), (end[0], end[1], end[2])


def _pole(number: int, bar: _Bar, material: str) -> Piece:
    solid, faces = named_box(*bar)
    pole = "n" if number % 2 else "s"
    return Piece(suffix=f"pole_{number:02d}", solid=solid, faces=faces, material=material, pole=pole)
