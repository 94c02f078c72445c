"""The fewest gauge blocks of a set that make a length, and the fewest angle gauges that make an angle."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

import numpy as np

from fixturecheck.arrays import Ints
from fixturecheck.errors import NotComputedError
from fixturecheck.files import shipped_table
from fixturecheck.names import row_of

MOST_BLOCKS = 6
"""Blocks of a stack at most, wear blocks besides: more wringing costs more than it wins."""

_WIDE_SEARCH = 400
_QUICK = 4
_SLOPE = {"0": (0.10, 0.002), "1": (0.20, 0.004), "2": (0.40, 0.008)}
JOINT_UM = 0.03
"""What a wrung joint may add: chosen here, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeSet:
    """One set of gauge blocks.

    Parameters
    ----------
    name : str
    says : str
        What it is.
    unit_mm : float
        What its sizes are counted in.
    sizes : tuple of int
        Size of each block in that unit, rising.
    wear : int
        Size of each of its two wear blocks in that unit.
    source : str
        Where its make-up comes from.
    """

    name: str
    says: str
    unit_mm: float
    sizes: tuple[int, ...]
    wear: int
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """A stack of gauge blocks in the order in which they stand, wear blocks included.

    Parameters
    ----------
    blocks_mm : tuple of float
        Size of each block, from below.
    wear : bool
        Whether the first and the last are wear blocks.
    """

    blocks_mm: tuple[float, ...]
    wear: bool

    @property
    def height_mm(self) -> float:
        """The length that it makes."""
        return round(sum(self.blocks_mm), 9)


@cache
def gauge_sets() -> Mapping[str, GaugeSet]:
    """Return every set of the table by its name.

    Returns
    -------
    mapping of str to GaugeSet
    """
    rows = shipped_table("angles", "gauge_sets")
    found = {}
    for name, row in rows.items():
        sizes = {first + k * step for first, step, count in row.pop("series") for k in range(count)}
        found[name] = GaugeSet(name=name, sizes=tuple(sorted(sizes)), **row)
    return MappingProxyType(found)


def gauge_set(name: str) -> GaugeSet:
    """Return the set of a name.

    Parameters
    ----------
    name : str

    Returns
    -------
    GaugeSet

    Raises
    ------
    SetupError
        Nothing has this name; the message lists the nearest names.
    """
    return row_of(name, gauge_sets(), what="set of gauge blocks")


def stack_of(blocks: GaugeSet, wanted_mm: float, *, wear: bool = False) -> Stack:
    """Return the stack that comes nearest to a length, of the fewest blocks that make it.

    The search is exact: every number of blocks is tried in turn, and every choice of that many.

    Parameters
    ----------
    blocks : GaugeSet
    wanted_mm : float
        Length of the whole stack.
    wear : bool
        Whether a wear block goes on either end.

    Returns
    -------
    Stack
        Thick blocks in the middle, thin ones toward the ends.

    Raises
    ------
    NotComputedError
        No stack comes near the length.
    """
    ends = 2 * blocks.wear if wear else 0
    inner = wanted_mm / blocks.unit_mm - ends
    nearest = round(inner)
    chosen = _fewest(blocks, nearest, MOST_BLOCKS) if nearest > 0 or (nearest == 0 and wear) else None
    if chosen is None:
        chosen = _next_to(blocks, inner)
    if chosen is None:
        raise NotComputedError(f"no stack of {blocks.name} comes near {wanted_mm:.4f} mm")
    order = _thick_in_the_middle(chosen)
    whole = (blocks.wear, *order, blocks.wear) if wear else order
    return Stack(blocks_mm=tuple(round(size * blocks.unit_mm, 9) for size in whole), wear=wear)


def stack_error_um(stack: Stack, grade: str) -> float:
    """Return how far the length of a stack may be off, by its blocks and joints, um.

    Parameters
    ----------
    stack : Stack
    grade : str
        `0`, `1` or `2`.

    Returns
    -------
    float
        All blocks at the same end of their limits.

    References ---------- ISO 3650 [@iso3650], limit deviations of length, from memory: about 0.1 + 0.002 L
    um for grade 0, L in mm, twice and four times that for grades 1 and 2.
    """
    base, slope = _SLOPE[grade]
    blocks = sum(base + slope * size for size in stack.blocks_mm)
    return blocks + JOINT_UM * max(len(stack.blocks_mm) - 1, 0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pairs:
    """Every sum of two blocks, rising, and of which two it is."""

    sums: Ints
    first: Ints
    second: Ints


@cache
def _pairs(name: str) -> _Pairs:
    sizes = np.array(gauge_set(name).sizes, dtype=np.int64)
    i, j = np.triu_indices(len(sizes), 1)
    sums = sizes[i] + sizes[j]
    order = np.argsort(sums, kind="stable")
    return _Pairs(sums=sums[order], first=i[order], second=j[order])


def _next_to(blocks: GaugeSet, inner: float) -> tuple[int, ...] | None:
    """Return the blocks whose sum is nearest to one that no stack makes; None where none is near."""
    centre = round(inner)
    steps = sorted(range(-_WIDE_SEARCH, _WIDE_SEARCH + 1), key=lambda k: abs(centre + k - inner))
    tried = (_fewest(blocks, centre + k, _QUICK) for k in steps if k and centre + k > 0)
    near = next((found for found in tried if found is not None), None)
    if near is not None:
        return near
    # Below the thinnest block the nearest stack is that block.
    return (blocks.sizes[0],) if centre < blocks.sizes[0] else None


def _fewest(blocks: GaugeSet, target: int, most: int) -> tuple[int, ...] | None:
    """Return the fewest blocks whose sum is a target, the thinnest of them as thick as possible."""
    if target == 0:
        return ()
    if not blocks.sizes[0] <= target <= sum(blocks.sizes[-most:]):
        return None
    for count in range(1, most + 1):
        best: tuple[int, ...] | None = None
        for chosen in _of(blocks, target, count):
            sizes = tuple(sorted(blocks.sizes[i] for i in chosen))
            best = sizes if best is None or sizes > best else best
        if best is not None:
            return best
    return None


def _of(blocks: GaugeSet, target: int, count: int) -> Iterator[tuple[int, ...]]:
    """Yield choices of so many blocks, by their numbers, whose sum is a target.

    All of them up to four; of more, those of the first pair or block that leaves a sum of four.
    """
    sizes, pairs = blocks.sizes, _pairs(blocks.name)
    if count == 1:
        yield from ((i,) for i, size in enumerate(sizes) if size == target)
    elif count == 2:
        low, high = np.searchsorted(pairs.sums, [target, target + 1])
        yield from ((int(pairs.first[k]), int(pairs.second[k])) for k in range(low, high))
    elif count == 3:
        for i, size in enumerate(sizes):
            yield from ((i, *two) for two in _of(blocks, target - size, 2) if two[0] > i)
    elif count == 4:
        yield from _two_pairs(pairs, target)
    else:
        singles = count == 5
        for k in range(len(sizes)) if singles else range(len(pairs.sums)):
            own = (k,) if singles else (int(pairs.first[k]), int(pairs.second[k]))
            rest = target - sum(sizes[i] for i in own)
            found = [(*own, *four) for four in _two_pairs(pairs, rest) if not {*own} & {*four}]
            if found:
                yield from found
                return


def _two_pairs(pairs: _Pairs, target: int) -> Iterator[tuple[int, ...]]:
    """Yield choices of four blocks whose sum is a target."""
    wanted = target - pairs.sums
    low, high = np.searchsorted(pairs.sums, wanted), np.searchsorted(pairs.sums, wanted + 1)
    # Each two pairs are met from either side; once is enough.
    for k in np.flatnonzero((high > low) & (wanted >= pairs.sums)):
        a, b = int(pairs.first[k]), int(pairs.second[k])
        for other in range(low[k], high[k]):
            c, d = int(pairs.first[other]), int(pairs.second[other])
            if not {a, b} & {c, d}:
                yield (a, b, c, d)


def _thick_in_the_middle(sizes: tuple[int, ...]) -> tuple[int, ...]:
    """Return sizes in the order of a stack: thick ones in the middle, so that thin ones do not bow."""
    falling = sorted(sizes, reverse=True)
    return (*reversed(falling[1::2]), *falling[0::2])


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
    """

    blocks_arcsec: tuple[int, ...]

    @property
    def angle_arcsec(self) -> int:
        """The angle that it makes."""
        return sum(self.blocks_arcsec)


@cache
def _angle_sets() -> Mapping[str, AngleSet]:
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
        Nothing has this name; the message lists the nearest names.
    """
    return row_of(name, _angle_sets(), what="set of angle blocks")


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
        raise NotComputedError(
            f"{blocks.name} makes angles up to {dms(blocks.most_arcsec)}; {dms(wanted_arcsec)} is beyond"
        )
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
    return AngleStack(blocks_arcsec=tuple(chosen))


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
