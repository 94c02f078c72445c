"""Four index pawls nested in the magnetic V-block with the magnet on: does each hold against its cut.

The stop is screwed to the V-block, and the wheel turns so that it drags the gang against it; the wall was
ground before, so the wheel's side only runs along it.
"""

from dataclasses import replace

from rev_b import setup as nested

from fixturecheck import Holding

rated_pull_n_cm2 = 120.0  # of the V-block, on a bar nested in it
downfeed_mm = 0.002  # as deep as the film of coolant lets the pawls hold
wall_stock_mm = 0.0
sparks = "left"  # the stop is at the left end

setup = replace(
    nested,
    bodies=tuple(replace(b, fastened=b.name == "stop") for b in nested.bodies),
    name="index pawls, revision B, held by the magnet",
    machine=replace(nested.machine, sparks=sparks),
    cuts=tuple(replace(c, downfeed_mm=downfeed_mm, wall_stock_mm=wall_stock_mm) for c in nested.cuts),
    holding=Holding(
        magnet="full",
        rated_pull_n_cm2=rated_pull_n_cm2,
        # The steel has no measured curve: it lies between gray iron and mild steel.
        curves_between={"tool_steel_a2": ("gray_iron", "steel_1018")},
    ),
)
