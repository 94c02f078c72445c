"""Slopes in words: the stack to wring, the angle reached, and how far it may be off."""

from __future__ import annotations

from fixturecheck.angles.angle_blocks import dms
from fixturecheck.angles.gauge_blocks import Stack, gauge_set
from fixturecheck.angles.incline import Incline
from fixturecheck.angles.sine import ARCSEC_PER_DEG

_INCH_MM = 25.4


def stack_words(stack: Stack, blocks: str) -> str:
    """Return the blocks of a stack in order from below, in the unit that they are marked in."""
    inch = gauge_set(blocks).unit_mm not in {0.0005, 0.001}
    sizes = [f"{b / _INCH_MM:.4f}" if inch else f"{b:.4f}".rstrip("0").rstrip(".") for b in stack.blocks_mm]
    if stack.wear:
        sizes = [f"{sizes[0]} (wear)", *sizes[1:-1], f"{sizes[-1]} (wear)"]
    height = f"{stack.height_mm / _INCH_MM:.4f} in" if inch else f"{stack.height_mm:.4f} mm"
    return f"{' + '.join(sizes)} = {height}"


def angle_dms(angle_deg: float) -> str:
    """Return an angle in degrees, minutes and seconds."""
    return dms(angle_deg * ARCSEC_PER_DEG)


def missed_words(incline: Incline) -> str:
    """Return how far the angle reached is from the one asked."""
    missed = incline.missed_arcsec
    if abs(missed) < 0.05:
        return "as asked"
    return f'{abs(missed):.1f}" {"more" if missed > 0 else "less"} than asked'


def unsure_words(incline: Incline) -> str:
    """Return how far the angle may be off besides, and by what."""
    if incline.stack is None:
        return f'±{incline.unsure_arcsec:.1f}" as the block is made'
    return (
        f'±{incline.unsure_arcsec:.1f}" (blocks {incline.by_stack_arcsec:.1f}", distance of the rolls '
        f'{incline.by_distance_arcsec:.1f}", flatness {incline.by_flatness_arcsec:.1f}")'
    )
