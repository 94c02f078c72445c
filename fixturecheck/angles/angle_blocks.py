"""Which angle blocks of a set make an angle, each added or taken away: the fewest that come nearest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

import numpy as np

from fixturecheck.arrays import Ints
from fixturecheck.errors import NotComputedError
from fixturecheck.files import shipped_table
from fixturecheck.names import row_of


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleSet:
    """One set of angle blocks.

    Parameters
    ----------
    name, says : str
    sizes_arcsec : tuple of int
        Angle of each block.
    source : str
        Where its make-up comes from.
    """

    name: str
    says: str
    sizes_arcsec: tuple[int, ...]
    source: str

    @property
    def most_arcsec(self) -> int:
        """The greatest angle, all blocks added."""
        return sum(self.sizes_arcsec)


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleStack:
    """Angle blocks wrung together.

    Parameters
    ----------
    blocks_arcsec : tuple of int
        Each block, negative where it is turned round and takes away; large ones first.
    wanted_arcsec : float
        The angle that was asked.
    """

    blocks_arcsec: tuple[int, ...]
    wanted_arcsec: float

    @property
    def angle_arcsec(self) -> int:
        """The angle that it makes."""
        return sum(self.blocks_arcsec)


@cache
def angle_sets() -> Mapping[str, AngleSet]:
    """Return every set of the table by its name.

    Returns
    -------
    mapping of str to AngleSet
    """
    rows = shipped_table("angles", "angle_sets")
    return MappingProxyType(
        {
            name: AngleSet(name=name, **{**row, "sizes_arcsec": tuple(row["sizes_arcsec"])})
            for name, row in rows.items()
        }
    )


def angle_set(name: str) -> AngleSet:
    """Return the set of a name.

    Parameters
    ----------
    name : str

    Returns
    -------
    AngleSet

    Raises
    ------
    SetupError
        There is none of the name; the nearest ones are named.
    """
    return row_of(name, angle_sets(), what="set of angle blocks")


def angle_stack(blocks: AngleSet, wanted_arcsec: float) -> AngleStack:
    """Return the blocks whose sum comes nearest to an angle, the fewest of those that come as near.

    The search is exact: all sums of one half of the set are held against all of the other.

    Parameters
    ----------
    blocks : AngleSet
    wanted_arcsec : float
        Zero or more.

    Returns
    -------
    AngleStack

    Raises
    ------
    NotComputedError
        The angle is greater than all blocks together.
    """
    if not 0.0 <= wanted_arcsec <= blocks.most_arcsec:
        message = (
            f"{blocks.name} makes angles up to {dms(blocks.most_arcsec)}; {dms(wanted_arcsec)} is beyond"
        )
        raise NotComputedError(message)
    sizes = np.array(blocks.sizes_arcsec)
    low, high = sizes[: len(sizes) // 2], sizes[len(sizes) // 2 :]
    low_signs, high_signs = _signs(len(low)), _signs(len(high))
    sums = low_signs @ low
    # Of equal sums of the lower half the one of the fewest blocks is all that is needed.
    order = np.lexsort((np.abs(low_signs).sum(axis=1), sums))
    keep = order[np.unique(sums[order], return_index=True)[1]]
    sums, low_signs = sums[keep], low_signs[keep]
    left = wanted_arcsec - high_signs @ high
    at = np.clip(np.searchsorted(sums, left), 1, len(sums) - 1)
    at = np.where(np.abs(sums[at - 1] - left) <= np.abs(sums[at] - left), at - 1, at)
    off = np.round(np.abs(sums[at] - left), 6)
    count = np.abs(high_signs).sum(axis=1) + np.abs(low_signs[at]).sum(axis=1)
    best = int(np.lexsort((count, off))[0])
    signs = np.concatenate([low_signs[at[best]], high_signs[best]])
    chosen = sorted((int(s * size) for s, size in zip(signs, sizes, strict=True) if s), key=abs, reverse=True)
    return AngleStack(blocks_arcsec=tuple(chosen), wanted_arcsec=wanted_arcsec)


def dms(angle_arcsec: float) -> str:
    """Return an angle in degrees, minutes and seconds: `12° 30' 0"`.

    Parameters
    ----------
    angle_arcsec : float

    Returns
    -------
    str
    """
    sign, whole = ("-" if angle_arcsec < 0 else ""), abs(round(angle_arcsec, 1))
    minutes, seconds = divmod(whole, 60)
    degrees, minutes = divmod(minutes, 60)
    shown = f"{seconds:.1f}".rstrip("0").rstrip(".")
    parts = (
        [f"{degrees:.0f}°"] * bool(degrees) + [f"{minutes:.0f}'"] * bool(minutes or degrees) + [f'{shown}"']
    )
    return sign + " ".join(parts)


def _signs(count: int) -> Ints:
    """Return every way to add, take away or leave so many blocks, shape (3^n, n)."""
    grids = np.meshgrid(*[np.array([-1, 0, 1])] * count, indexing="ij")
    return np.stack([g.ravel() for g in grids], axis=1)
