"""The few lengths and angles below which two things count as the same."""

from __future__ import annotations

from dataclasses import dataclass, field

from fixturecheck.fields import HIDDEN, allowed, recorded

NEAR_MM = (0.001, 5.0)
"""Least and greatest near band that may be stated."""


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """Tolerances of one check, passed to whoever needs them and never kept globally.

    Parameters
    ----------
    touch_um : float
        Faces closer than this touch.
    near_mm : float
        Faces that look at each other closer than this are kept as near patches.
    parallel_deg : float
        Directions closer than this are parallel.
    wedge_deg : float
        Planes that face each other within this angle form a near patch with a varying gap.
    overlap_mm3 : float
        Common volume of two bodies above which they interpenetrate. Less counts only where this is not stated
        and it is deeper than the touch tolerance.
    sample_mm : float
        Spacing of the sampled fallback on surfaces that have no closed form.
    """

    touch_um: float = field(default=1.0, metadata=allowed(0.001, 100.0, matters="which faces touch"))
    near_mm: float = field(
        default=0.5, metadata=allowed(*NEAR_MM, matters="which faces are near enough to be reported")
    )
    parallel_deg: float = field(default=1e-3, metadata=allowed(1e-6, 1.0))
    wedge_deg: float = field(default=5.0, metadata=allowed(0.001, 30.0))
    overlap_mm3: float = field(default=1e-6, metadata=allowed(1e-9, 1.0))
    sample_mm: float = field(default=0.5, metadata=allowed(0.02, 10.0))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)

    @property
    def touch_mm(self) -> float:
        """The touch tolerance in the unit of the solids."""
        return self.touch_um * 1e-3
