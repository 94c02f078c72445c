"""Which values were used without being stated, and what hangs on each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.fields import allowed_in, own_fields
from fixturecheck.result import Assumed
from fixturecheck.result.hold import ClampKind
from fixturecheck.setup.holding import ASSUMED_PULL_N_CM2, SOURCE_GAP_PITCHES, Holding
from fixturecheck.setup.model import Body, Cut, Setup
from fixturecheck.shop.speed import speed_limit
from fixturecheck.shop.tables import among_ours, material
from fixturecheck.units import metric_unit

_HAND = "a light hand, a quarter of what seats the part"
_CENTRE = "its centre"
_FLUTES = "what cutters are sold with"
_ANY_CLAMP = ("down_deg", "screw_mm", "thread", "screw_to_heel_mm", "screw_to_part_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """A record with defaults: what it is called, and what else decides whether a default is used.

    Parameters
    ----------
    skips : tuple of str
        Fields that play no part here.
    instead : mapping of str to object
        What is used in place of a field that is None or empty.
    aside : bool
        As in `Assumed`.
    """

    of: str
    record: Any
    skips: tuple[str, ...] = ()
    instead: Mapping[str, Any] = field(default_factory=dict)
    aside: bool = False


def assumed(setup: Setup) -> tuple[Assumed, ...]:
    """Return what was used without being stated; like values of like things are told once.

    Returns
    -------
    tuple of Assumed
        In the order of the tables of a set-up.
    """
    found: dict[tuple[str, object, str], list[str]] = {}
    rows: dict[tuple[str, object, str], Assumed] = {}
    for row in _rows(setup):
        key = (row.key, row.value, row.hangs_on)
        rows.setdefault(key, row)
        found.setdefault(key, []).append(row.of)
    return tuple(replace(rows[key], of=_listed(owners)) for key, owners in found.items())


def _rows(setup: Setup) -> Iterator[Assumed]:
    if setup.cuts:
        yield from _machine(setup)
    for asked in _records(setup):
        yield from _defaults(asked)
    if setup.holding is not None or setup.staging is not None:
        yield from _materials(setup)
    with among_ours(setup.own):
        yield from list(_curves(setup))
    for body in setup.bodies:
        for key, value in body.shop_sizes.items():
            hangs_on = "where its faces stand, and how a magnet or jaw holds with it"
            yield Assumed(
                of=f"equipment {body.group}",
                key=key,
                value=value,
                unit=metric_unit(key),
                hangs_on=hangs_on,
                aside=True,
            )


def _machine(setup: Setup) -> Iterator[Assumed]:
    """Yield what was assumed of the machine and the wheel, which only grinding asks for."""
    machine = setup.machine
    skips = ("rpm",) if all(c.rpm is not None for c in setup.cuts) else ()
    yield from _defaults(
        _Asked(of="machine", record=machine, skips=skips, instead={"table_z_mm": round(setup.table_z_mm, 6)})
    )
    yield from _defaults(_Asked(of="machine.flange", record=machine.flange))
    if machine.guard is not None:
        yield from _defaults(_Asked(of="machine.guard", record=machine.guard))
    try:
        marked: object = round(speed_limit(setup.wheel).speed_m_s, 3)
    except (NotComputedError, SetupError):
        marked = "not known"
    # A marked wheel needs no table, and so nothing of what it is made of.
    skips = ("spec",) if setup.wheel.max_speed_m_s is not None else ()
    yield from _defaults(
        _Asked(of="wheel", record=setup.wheel, skips=skips, instead={"max_speed_m_s": marked})
    )


def _records(setup: Setup) -> Iterator[_Asked]:
    """Yield every other record whose defaults may have been used."""
    for seat in setup.seats:
        yield _Asked(of=f"seat {seat.body}.{seat.face}", record=seat, aside=True)
    for cut in setup.cuts:
        yield _cut(setup, cut)
    if setup.staging is not None:
        skips = () if any(b.tolerance_mm for b in setup.bodies) else ("draws",)
        yield _Asked(of="staging", record=setup.staging, skips=skips)
        for name, push in setup.staging.push.items():
            yield _Asked(of=f"staging.push.{name}", record=push, instead={"force_n": _HAND, "at_mm": _CENTRE})
    if setup.holding is not None:
        yield from _holding(setup, setup.holding)
    yield _Asked(of="tolerances", record=setup.tolerances, aside=True)


def _cut(setup: Setup, cut: Cut) -> _Asked:
    feed_mm = min(cut.downfeed_mm, cut.wall_stock_mm)
    skips = ["rpm"]
    skips += ["cross_feed_mm"] if cut.way == "plunge" else []
    skips += ["wall_stock_mm"] if cut.wall is None else []
    skips += ["wall_feed_mm"] if cut.wall is None or feed_mm == 0.0 else []
    skips += ["table_speed_m_min", "downfeed_mm", "wall_feed_mm"] if setup.holding is None else []
    return _Asked(of=f"cut {cut.name}", record=cut, skips=tuple(skips), instead={"wall_feed_mm": feed_mm})


def _holding(setup: Setup, holding: Holding) -> Iterator[_Asked]:
    off = holding.magnet == "off"
    skips = ["rated_pull_n_cm2", "residual_share", "rating_piece_mm", "rating_finish"] if off else []
    skips += ["source_gap_mm"] if off or holding.shim_mm is not None or holding.calibrated else []
    skips += ["rating_piece_mm", "rating_finish", "rated_pull_n_cm2"] if holding.source_mmf_a else []
    skips += ["trifle_share"] if holding.magnet != "trifle" else []
    skips += ["friction"] if holding.mu else []
    skips += ["abrasive"] if not setup.cuts else []
    low, high = SOURCE_GAP_PITCHES
    instead = {
        "rated_pull_n_cm2": ASSUMED_PULL_N_CM2,
        "rating_piece_mm": "four distances between poles square, or as far as they reach",
        "source_gap_mm": f"{low:g} to {high:g} of the distance between poles",
    }
    yield _Asked(of="holding", record=holding, skips=tuple(skips), instead=instead)
    for clamp in holding.clamps:
        used = {ClampKind.TOE: ("down_deg",), ClampKind.STRAP: ("screw_to_heel_mm", "screw_to_part_mm")}.get(
            ClampKind(clamp.kind), ()
        )
        used += ("screw_mm", "thread") if clamp.torque_nm is not None else ()
        unused = tuple(f for f in _ANY_CLAMP if f not in used)
        yield _Asked(of=f"clamp {clamp.name}", record=clamp, skips=unused)
    for mill in holding.milling:
        yield _Asked(of=f"mill {mill.name}", record=mill, instead={"helix_deg": _FLUTES})


def _materials(setup: Setup) -> Iterator[Assumed]:
    """Yield the material of each body that states none."""
    for body in setup.bodies:
        if body.group is None and "material" not in body.stated:
            yield from _of_body(body)


def _curves(setup: Setup) -> Iterator[Assumed]:
    """Yield the curves between which a magnetic material without one was taken."""
    holding = setup.holding
    if holding is None or holding.magnet == "off":
        return
    for name in dict.fromkeys(b.material for b in setup.bodies):
        between = material(name).between
        if between and name not in holding.curves_between:
            yield Assumed(
                of="holding.curves_between",
                key=name,
                value=" and ".join(between),
                unit="",
                hangs_on="every pull on it, and so the hold",
            )


def _of_body(body: Body) -> Iterator[Assumed]:
    hangs_on = "its weight, how a magnet holds it, friction, the cutting force"
    yield Assumed(of=f"body {body.name}", key="material", value=body.material, unit="", hangs_on=hangs_on)


def _defaults(asked: _Asked) -> Iterator[Assumed]:
    """Yield the fields of a record that were not stated and on which something hangs."""
    record, instead = asked.record, dict(asked.instead)
    for key in own_fields(type(record)):
        rule = allowed_in(key)
        if key.name in record.stated or key.name in asked.skips or rule is None or not rule.matters:
            continue
        value = getattr(record, key.name)
        value = instead.get(key.name) if value is None or value == () else value
        if value is None:
            continue
        if isinstance(value, tuple):
            value = ", ".join(f"{v:g}" for v in value)
        yield Assumed(
            of=asked.of,
            key=key.name,
            value=value,
            unit="" if isinstance(value, str) else metric_unit(key.name),
            hangs_on=rule.matters,
            aside=asked.aside,
        )


def _listed(owners: list[str]) -> str:
    """Name up to four owners, and count the rest."""
    unique = list(dict.fromkeys(owners))
    more = f" and {len(unique) - 4} more" if len(unique) > 4 else ""
    return ", ".join(unique[:4]) + more
