"""One measurement on a magnetic chuck, and what holds for all of them: the keys of a file of measurements."""

from __future__ import annotations

from dataclasses import dataclass, field

from fixturecheck.errors import SetupError
from fixturecheck.fields import allowed
from fixturecheck.shop import tables
from fixturecheck.units import UNITS


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationHead:
    """What holds for all measurements.

    Parameters
    ----------
    name : str
        Which chuck it is.
    units : str
        `mm` or `inch`: of places, and of what is written.
    finish : str
        Finish of the faces that lie on the chuck.
    """

    name: str
    units: str = field(default="mm", metadata=allowed(words=UNITS))
    finish: str = "ground"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One reading of a scale.

    Parameters
    ----------
    name : str
        What it is called.
    piece_mm : tuple of float
        Size of the piece along X, along Y, and its height.
    at_mm : tuple of float
        Where the middle of the piece lies on the chuck, from the middle of its top; left out, half-way
        between the two poles next to the middle.
    material : str
        Steel of the piece; it needs a B-H curve.
    shim_mm : float or None
        Thickness of a shim without iron under the whole piece.
    pull_n : float or None
        What the scale showed when the piece came straight off, pulled up above its middle.
    slide_n : float or None
        What it showed when the piece began to slide, pulled level and low.
    friction : tuple of float
        Least and greatest friction of the piece on the chuck, or on the shim; a slide needs it.
    reading_n : float
        How far the reading may be off, either way.
    """

    name: str
    piece_mm: tuple[float, ...] = field(metadata=allowed(1.0, 1000.0, items=3))
    reading_n: float = field(metadata=allowed(0.0001, 1e5))
    at_mm: tuple[float, ...] = field(default=(), metadata=allowed(-2000.0, 2000.0, items=2))
    material: str = "steel_1018"
    shim_mm: float | None = field(default=None, metadata=allowed(0.001, 20.0))
    pull_n: float | None = field(default=None, metadata=allowed(0.01, 1e6))
    slide_n: float | None = field(default=None, metadata=allowed(0.01, 1e6))
    friction: tuple[float, ...] = field(default=(), metadata=allowed(0.02, 2.0, items=2))

    def __post_init__(self) -> None:
        """Refuse a measurement from which no pull follows.

        Raises
        ------
        SetupError
            Says what is missing or does not go together.
        """
        if len(self.piece_mm) != 3:
            message = f"piece_mm: state three sizes, along X, along Y and height; got {list(self.piece_mm)}"
            raise SetupError(message)
        if len(self.at_mm) not in (0, 2):
            message = f"at_mm: state two coordinates, along X and Y; got {list(self.at_mm)}"
            raise SetupError(message)
        if (self.pull_n is None) == (self.slide_n is None):
            message = "state pull_n (straight off) or slide_n (level), one of the two"
            raise SetupError(message)
        if self.slide_n is not None and not (
            len(self.friction) == 2 and self.friction[0] <= self.friction[1]
        ):
            message = (
                "slide_n needs the friction between which the piece slides, least and greatest, as "
                f"[0.15, 0.25]; got {list(self.friction)}"
            )
            raise SetupError(message)
        if self.pull_n is not None and self.friction:
            message = "friction goes with slide_n; straight off there is none"
            raise SetupError(message)
        if not tables.material(self.material).bh:
            message = f"material {self.material!r} has no B-H curve; measure with a piece of steel_1018"
            raise SetupError(message)

    def force_n(self, weight_n: float) -> tuple[float, float]:
        """Return the magnet's pull on the piece, least and greatest.

        Parameters
        ----------
        weight_n : float
            Of the piece.
        """
        if self.pull_n is not None:
            low, high = self.pull_n - self.reading_n, self.pull_n + self.reading_n
        else:
            slide = self.slide_n or 0.0
            low = (slide - self.reading_n) / self.friction[1]
            high = (slide + self.reading_n) / self.friction[0]
        return max(low - weight_n, 0.0), high - weight_n
