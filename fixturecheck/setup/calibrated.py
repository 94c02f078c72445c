"""A magnet as it was measured: what a chuck file states."""

from __future__ import annotations

from dataclasses import dataclass, field

from fixturecheck.allowed import allowed
from fixturecheck.errors import SetupError
from fixturecheck.recorded import HIDDEN
from fixturecheck.shop import tables


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibratedChuck:
    """A chuck file: every magnet that fits what was measured, by its ends.

    Parameters
    ----------
    name : str
        Which chuck it is.
    poles : int
        How many poles the measured chuck has.
    pole_pitch_mm : float
        From the middle of one pole to the next.
    pole_size_mm : tuple of float
        Width, length and height of one of its poles.
    pole_material : str
        What its poles are of.
    piece_finish : str
        Finish of the pieces that it was measured with.
    source_gap_mm : tuple of float
        Air gap of the same conductance as the magnet behind a pole, per area of the pole's back: of the
        stiffest and of the softest magnet that fits.
    source_mmf_low_a, source_mmf_high_a : tuple of float
        Least and greatest magnetomotive force that fits, behind either of these gaps.
    seat_gap_um : tuple of float
        Gap between such a piece and the poles, with the magnets that pull most and those that pull least.
    path : str
        The file.
    """

    name: str
    poles: int = field(metadata=allowed(2, 10000))
    pole_pitch_mm: float = field(metadata=allowed(0.1, 1000.0))
    pole_size_mm: tuple[float, ...] = field(metadata=allowed(0.05, 2000.0, items=3))
    pole_material: str
    piece_finish: str
    source_gap_mm: tuple[float, ...] = field(metadata=allowed(0.0001, 5.0, items=2))
    source_mmf_low_a: tuple[float, ...] = field(metadata=allowed(0.1, 1e6, items=2))
    source_mmf_high_a: tuple[float, ...] = field(metadata=allowed(0.1, 1e6, items=2))
    seat_gap_um: tuple[float, ...] = field(metadata=allowed(0.01, 1000.0, items=2))
    path: str = field(default="", compare=False, metadata=HIDDEN)

    def __post_init__(self) -> None:
        """Refuse what no calibration writes.

        Raises
        ------
        SetupError
            A pair is not a pair or runs backwards, a size is missing, or finish or material are unknown.
        """
        if len(self.pole_size_mm) != 3:
            message = f"pole_size_mm holds width, length and height of a pole; got {list(self.pole_size_mm)}"
            raise SetupError(message)
        pairs = {
            "source_gap_mm": self.source_gap_mm,
            "seat_gap_um": self.seat_gap_um,
            "source_mmf_low_a": self.source_mmf_low_a,
            "source_mmf_high_a": self.source_mmf_high_a,
        }
        for name, pair in pairs.items():
            if len(pair) != 2:
                message = f"{name} holds two numbers; got {list(pair)}"
                raise SetupError(message)
        lows = (self.source_gap_mm[0], self.seat_gap_um[0], *self.source_mmf_low_a)
        highs = (self.source_gap_mm[1], self.seat_gap_um[1], *self.source_mmf_high_a)
        if any(low > high for low, high in zip(lows, highs, strict=True)):
            message = "a least value is above its greatest; calibrate the chuck again"
            raise SetupError(message)
        tables.finish(self.piece_finish)
        tables.material(self.pole_material)
