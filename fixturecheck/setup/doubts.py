"""Says what looks wrong with a set-up that can be checked: cautions about what was stated."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path

from fixturecheck.kernel.brep.topology import one_of_each
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.place import placed_at
from fixturecheck.result.finding import Finding, Kind, Verdict, judge
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.validate import TABLE_MM
from fixturecheck.shop import tables
from fixturecheck.units import Writing

LARGE_MM = 2000.0
SMALL_MM = 0.1
"""A body larger or smaller than this all over was probably read in the wrong units."""

WIDE_SHARE = 0.25
"""A tolerance zone wider than this share of the thinnest extent of its body was probably not meant."""


PLAIN_STEEL = "steel_1018"
"""Friction stated for all contacts was probably not meant for a material that is slipperier than this."""


def suspicions(setup: Setup) -> tuple[Finding, ...]:
    """Return a caution for each thing that can be checked but was probably not meant so."""
    return tuple(
        itertools.chain(
            _sizes(setup),
            _no_units(setup),
            _below_table(setup),
            _coarse_passes(setup),
            _seats_of_nothing(setup),
            _zones(setup),
            _rough(setup),
        )
    )


def _sizes(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each body whose size says that it was read in the wrong units."""
    for body, sizes_mm in _spans(setup):
        if max(sizes_mm) > LARGE_MM or max(sizes_mm) < SMALL_MM:
            yield _wrong_size(body, max(sizes_mm), setup.write)


def _spans(setup: Setup) -> Iterator[tuple[Body, tuple[float, float, float]]]:
    """Yield every body with its size along its own axes; copies are measured once."""
    shapes = [b.solid for b in setup.bodies]
    spans: dict[int, tuple[float, float, float]] = {}
    for body, i in zip(setup.bodies, one_of_each(shapes), strict=True):
        if i not in spans:
            box = box_of(shapes[i])
            spans[i] = (box[3] - box[0], box[4] - box[1], box[5] - box[2])
        yield body, spans[i]


def _no_units(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each part file that states no unit of length."""
    files: dict[str, list[tuple[Body, float]]] = {}
    for body, spans_mm in _spans(setup):
        if not body.says_unit and body.source is not None:
            files.setdefault(body.source.path, []).append((body, max(spans_mm)))
    for path, bodies in files.items():
        body, size_mm = bodies[0]
        yield _doubt(
            body.name,
            f"{Path(path).name} states no unit of length, and its numbers were taken for mm: {body.name} is "
            f"then {setup.write.length(size_mm)} over its longest side. Export it again with its unit.",
            value=size_mm,
            unit="mm",
        )


def _below_table(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each part that reaches below the table where its height is stated."""
    table_mm, write = setup.machine.table_z_mm, setup.write
    for body in setup.parts() if table_mm is not None else ():
        low_mm = box_of(placed_at(body.solid, body.at))[2]
        if table_mm is not None and low_mm < table_mm - TABLE_MM:
            yield _doubt(
                body.name,
                f"{body.name} reaches {write.length(table_mm - low_mm)} below the table, which is stated at "
                f"z = {write.length(table_mm)}: is that height right?",
                value=low_mm,
                at_least=table_mm,
                unit="mm",
            )


def _coarse_passes(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each cut whose one pass is deeper than all that there is to grind."""
    write = setup.write
    for cut in setup.cuts:
        if cut.downfeed_mm > cut.stock_mm > 0.0:
            yield _doubt(
                cut.name,
                f"One pass of {cut.name} is stated as {write.length(cut.downfeed_mm, 'g')} deep, more than "
                f"the {write.length(cut.stock_mm, 'g')} of stock; the cutting force is that of such a pass.",
                value=cut.downfeed_mm,
                at_most=cut.stock_mm,
                unit="mm",
            )


def _seats_of_nothing(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each seat that counts as closed whatever area touches."""
    for seat in setup.seats:
        if seat.min_share == 0.0:
            name = f"{seat.body}.{seat.face}"
            yield _doubt(
                name,
                f"The seat of {name} on {seat.on}.{seat.on_face} states min_share = 0, so that a point would "
                "do; state the share of the face that must touch.",
                value=0.0,
                unit="share",
            )


def _zones(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each body with a tolerance zone wider than the body is thin."""
    for body, spans_mm in _spans(setup):
        widest = max(body.tolerance_mm, key=body.tolerance_mm.__getitem__, default=None)
        if widest is not None and body.tolerance_mm[widest] > WIDE_SHARE * min(spans_mm):
            zone, thin = (setup.write.length(v) for v in (body.tolerance_mm[widest], min(spans_mm)))
            what = "its faces" if widest == "*" else f"its face {widest}"
            yield _doubt(
                body.name,
                f"{body.name} is {thin} where it is thinnest, and the tolerance of {what} is {zone}: is that "
                "the zone that was meant?",
                value=body.tolerance_mm[widest],
                at_most=WIDE_SHARE * min(spans_mm),
                unit="mm",
            )


def _rough(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each material that is slipperier than all contacts are stated to be."""
    holding = setup.holding
    if holding is None or not holding.mu:
        return
    usual = min(holding.mu[0], tables.material(PLAIN_STEEL).friction_on_steel[0])
    for name in sorted({b.material for b in setup.bodies}):
        low = tables.material(name).friction_on_steel[0]
        if low < usual:
            yield _doubt(
                name,
                f"Friction is stated as at least {holding.mu[0]:g} for all contacts, though {name} has "
                f"{low:g} on steel: state less unless it was measured.",
                value=holding.mu[0],
                at_most=low,
                unit="",
            )


def _doubt(
    subject: str,
    says: str,
    *,
    value: float,
    unit: str,
    at_least: float | None = None,
    at_most: float | None = None,
) -> Finding:
    """Return a caution about what was stated."""
    return judge(
        value,
        unit=unit,
        at_least=at_least,
        at_most=at_most,
        verdict=Verdict.CAUTION,
        check="describe",
        subject=subject,
        kind=Kind.AS_STATED,
        says=says,
        source="common practice, no source",
    )


def _wrong_size(body: Body, size_mm: float, write: Writing) -> Finding:
    large = size_mm > LARGE_MM
    limit_mm = LARGE_MM if large else SMALL_MM
    shape = NamedShape(
        name=body.name,
        role=Role.PART if body.role == "part" else Role.FIXTURE,
        geometry=placed_at(body.solid, body.at),
        bodies=(body.name,),
    )
    return judge(
        size_mm,
        unit="mm",
        at_most=limit_mm if large else None,
        at_least=None if large else limit_mm,
        verdict=Verdict.CAUTION,
        check="describe",
        subject=body.name,
        kind=Kind.SIZE,
        about=(body.name,),
        says=f"Body {body.name} is {write.length(size_mm)} over its longest side, "
        f"{'more' if large else 'less'} than {write.length(limit_mm, 'g')}: "
        "was it drawn or exported in other units?",
        source="common practice, no source",
        shapes=(shape,),
    )
