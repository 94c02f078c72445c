"""How a change that cures something is written: of a hold, or of the wheel's way."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from fixturecheck.result.remedy import (
    Amount,
    Dodge,
    DodgeKind,
    Jaws,
    Remedy,
    RemedyKind,
    StopAt,
    WheelChange,
    WheelChangeKind,
)
from fixturecheck.result.shapes import Vector
from fixturecheck.units import Writing
from fixturecheck.wording.sentences import capitalised, first_up

_SIDES = {(0, 1): "right side", (0, -1): "left side", (1, 1): "column side", (1, -1): "operator's side"}
_AXES = "XY"


def remedy_words(remedy: Remedy, write: Writing) -> str:
    """Return a remedy as a sentence without its full stop.

    Parameters
    ----------
    remedy : Remedy
        The change, what may go with it, and the factor that it reaches.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    change = _CHANGES[remedy.kind](remedy, write)
    if remedy.also is not None:
        change += f", and {_CHANGES[remedy.also.kind](remedy.also, write)}"
    whom = "it" if remedy.kind in _IT else remedy.part
    bound = "at least " if remedy.at_least else ""
    factor = f"{remedy.factor:.0f}" if remedy.at_least else f"{remedy.factor:.1f}"
    return capitalised(f"{change}: {whom} then holds {bound}{factor} times the cutting load")


def any_of(remedies: Iterable[Remedy], write: Writing) -> str | None:
    """Return remedies of which any one will do, each as a sentence; None where there is none.

    Parameters
    ----------
    remedies : iterable of Remedy
        In the order in which they are told.
    write : Writing
        Writes the quantities in the units of the set-up.

    Returns
    -------
    str or None
    """
    return " Or: ".join(f"{remedy_words(r, write)}." for r in remedies) or None


def _smaller(says: str, to_format: str, now_format: str = "g") -> Callable[[Remedy, Writing], str]:
    """Return what words one number of a cut made smaller: rounded down, it is tried on the safe side."""

    def words(remedy: Remedy, write: Writing) -> str:
        (amount,) = remedy.amounts
        to = write.length(amount.to, to_format, "down")
        return f"{says.format(to)} instead of {write.number(amount.now, 'mm', now_format)}"

    return words


def _way(remedy: Remedy, _write: Writing) -> str:
    now, to = remedy.names
    return f"mill {to} only" if now == "any" else f"mill {to} instead of {now}"


def _direction(remedy: Remedy, _write: Writing) -> str:
    now, to = remedy.names
    return f"feed the cutter toward {to} instead of {now}"


def _clamps(remedy: Remedy, write: Writing) -> str:
    return "tighten " + " and ".join(_how_hard(amount, write) for amount in remedy.amounts)


def _how_hard(clamp: Amount, write: Writing) -> str:
    to = write.force(clamp.to, ".0f", "up") if clamp.unit == "N" else write.torque(clamp.to, ".1f", "up")
    return f"{clamp.name} to {to} (stated {write.number(clamp.now, clamp.unit, 'g')})"


def _fastened(remedy: Remedy, _write: Writing) -> str:
    return f"fasten {' and '.join(remedy.names)} so that nothing moves it"


def _stop(remedy: Remedy, write: Writing) -> str:
    return "fasten a block" if remedy.stop is None else _against(remedy, remedy.stop, write)


def _against(remedy: Remedy, stop: StopAt, write: Writing) -> str:
    places = (stop.place_mm, stop.low_mm, stop.high_mm)
    place, low, high = (write.number(v, "mm", ".1f") for v in places)
    where = f"{_AXES[stop.axis]} {place}, {_AXES[1 - stop.axis]} {low} to {high} {write.name('mm')}"
    (kind, tool) = remedy.names
    return (
        f"fasten {kind} against the {_SIDES[stop.axis, stop.sign]} of {remedy.part} ({where}), "
        f"{write.length(stop.tall_mm, '.1f', 'up')} tall from its foot, which stays "
        f"{write.length(stop.below_mm, '.1f')} below the {tool}"
    )


def _dry(remedy: Remedy, _write: Writing) -> str:
    low, high = remedy.amounts
    return (
        "cut dry, every contact wiped clean of coolant and oil "
        f"(friction {low.to:g} to {high.to:g} instead of {low.now:g} to {high.now:g})"
    )


def _seat(remedy: Remedy, write: Writing) -> str:
    (area,) = remedy.amounts
    to = write.area(area.to, ".0f", "up")
    now = write.number(area.now, "mm2", ".0f")
    return f"seat {remedy.part} on {to} of the magnet instead of {now}, at the same pull per area"


def _slid(remedy: Remedy, write: Writing) -> str:
    (slide,) = remedy.amounts
    way = f"{'+' if slide.to > 0 else '-'}{slide.name}"
    return (
        f"slide {remedy.part}, with all that stands on the magnet, {write.length(abs(slide.to), '.1f')} "
        f"toward {way}, where the poles pull it harder"
    )


def _switched_on(_remedy: Remedy, _write: Writing) -> str:
    return "switch the magnet on"


def _turned_up(remedy: Remedy, _write: Writing) -> str:
    (share,) = remedy.amounts
    return f"turn the magnet up to {share.to:.0%} of full instead of {share.now:.0%}"


def _chuck(remedy: Remedy, write: Writing) -> str:
    (rated,) = remedy.amounts
    to = write.pressure(rated.to, ".0f", "up")
    return f"use a chuck rated {to} instead of {write.number(rated.now, 'N/cm2', 'g')}"


def _finish(remedy: Remedy, _write: Writing) -> str:
    now, to = (name.replace("_", " ") for name in remedy.names)
    return f"finish the seat of {remedy.part} {to} instead of {now}"


def _vise(remedy: Remedy, write: Writing) -> str:
    return "hold it in a vise" if remedy.jaws is None else _between(remedy.part, remedy.jaws, write)


def _between(part: str, jaws: Jaws, write: Writing) -> str:
    places = f"{write.number(jaws.near_mm, 'mm', '.1f')} and {write.length(jaws.far_mm, '.1f')}"
    return (
        f"no change to this way of holding is enough: hold {part} between the jaws of a vise on its "
        f"sides at {_AXES[jaws.axis]} {places}, jaws {write.length(jaws.below_mm, 'g')} below the floor, "
        f"{write.torque(jaws.torque_nm, 'g')} on the screw"
    )


_CHANGES: dict[RemedyKind, Callable[[Remedy, Writing], str]] = {
    RemedyKind.DOWNFEED: _smaller("feed down {} a pass", ".4f", ".4g"),
    RemedyKind.DEPTH: _smaller("mill {} deep at a time", ".2f"),
    RemedyKind.WIDTH: _smaller("mill {} wide at a time", ".2f"),
    RemedyKind.FEED: _smaller("feed {} for each tooth", ".3f"),
    RemedyKind.FEED_IN_TURN: _smaller("feed {} in one turn", ".3f"),
    RemedyKind.WAY: _way,
    RemedyKind.DIRECTION: _direction,
    RemedyKind.CLAMPS: _clamps,
    RemedyKind.FASTENED: _fastened,
    RemedyKind.STOP: _stop,
    RemedyKind.DRY: _dry,
    RemedyKind.SLID: _slid,
    RemedyKind.SEAT: _seat,
    RemedyKind.SWITCHED_ON: _switched_on,
    RemedyKind.TURNED_UP: _turned_up,
    RemedyKind.CHUCK: _chuck,
    RemedyKind.FINISH: _finish,
    RemedyKind.VISE: _vise,
}
_IT = {RemedyKind.STOP, RemedyKind.SLID, RemedyKind.SEAT, RemedyKind.FINISH, RemedyKind.VISE}
"""Changes that name the part themselves."""


def dodge_words(dodge: Dodge, write: Writing) -> str:
    """Return a change in words, without a capital and a full stop.

    Parameters
    ----------
    dodge : Dodge
        One change that lets the wheel or the cutter pass.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    far = write.length(dodge.by_mm, ".2f", "up")
    along, back = _toward(dodge.direction, 1.0), _toward(dodge.direction, -1.0)
    match dodge.kind:
        case DodgeKind.LOWER:
            tall = write.length(dodge.tall_mm, ".2f", "down")
            top = write.number(dodge.to_mm, "mm", ".2f", "down")
            return f"make {dodge.body} {far} lower (at most {tall} tall here, top at Z {top})"
        case DodgeKind.MOVE:
            return f"move {dodge.body} {far} toward {along}"
        case DodgeKind.RAISE:
            return _raise_words(dodge, far)
        case DodgeKind.STICK_OUT:
            return f"let the cutter stand out {far} further ({write.length(dodge.to_mm, 'g')} in all)"
        case DodgeKind.FLUTES:
            return f"take a cutter with flutes {far} longer ({write.length(dodge.to_mm, 'g')} in all)"
        case DodgeKind.SHANK:
            return f"take a cutter with a shank {far} thinner ({write.length(dodge.to_mm, 'g')} thick)"
        case DodgeKind.TRAVEL:
            where = "both ends" if dodge.both_ends else f"the {back} end"
            left = write.length(dodge.to_mm, ".2f", "down")
            return f"stop the table {far} earlier at {where} (overtravel {left} there)"
        case DodgeKind.FEED:
            step, was = (write.length(v, "g") for v in (dodge.to_mm, dodge.was_mm))
            overrun = write.length(dodge.by_mm, ".3g")
            passes = f"the same number of passes, and no overrun of {overrun} past the floor"
            return f"feed across by {step} a step instead of {was}: {passes}"
        case DodgeKind.SHIFT:
            key = f"{write.key('feed_shift_mm')} = {write.number(dodge.to_mm, 'mm', '.4g')}"
            return f"run over the floor {far} further toward {along} and less toward {back} ({key})"


def _raise_words(dodge: Dodge, far: str) -> str:
    *first, last = dodge.parts
    who = f"{', '.join(first)} and {last}" if first else last
    packing = "parallels or packing"
    if dodge.on_magnet:
        packing = "laminated parallels (packing of any kind weakens the magnet: check the hold again)"
    return f"set {who} {far} higher over {dodge.over}, on {packing}, or use a lower {dodge.body}"


def _toward(way: Vector, sign: float) -> str:
    """Name the axis of the machine that a direction, or the opposite one, lies along."""
    axis = max(range(3), key=lambda k: abs(way[k]))
    return f"{'+' if sign * way[axis] > 0 else '-'}{'XYZ'[axis]}"


def whole_words(changes: Sequence[WheelChange], write: Writing) -> str | None:
    """Return the changes that take all the stock as a sentence; None where there is none.

    Parameters
    ----------
    changes : sequence of WheelChange
        Each does it alone.
    write : Writing
        Writes the quantities in the units of the set-up.

    Returns
    -------
    str or None
    """
    if not changes:
        return None
    text = ", or ".join(
        f"use {_wheel_words(c, write)}" if c.to_mm else "traverse instead of plunging" for c in changes
    )
    return f"{first_up(text)}: ground again, that makes the whole of it."


def no_gouge_words(changes: Sequence[WheelChange], write: Writing) -> str | None:
    """Return the changes that together keep the wheel out of a part as a sentence; None without any.

    Parameters
    ----------
    changes : sequence of WheelChange
        All are made together.
    write : Writing
        Writes the quantities in the units of the set-up.

    Returns
    -------
    str or None
    """
    if not changes:
        return None
    told = [_no_gouge_part(change, write) for change in changes]
    tried = all(change.kind is not WheelChangeKind.FILLET for change in changes)
    return (
        f"{first_up(', and '.join(told))}{': ground again, it takes nothing it should not' if tried else ''}."
    )


def _no_gouge_part(change: WheelChange, write: Writing) -> str:
    if change.kind is WheelChangeKind.FEED:
        step, was = (write.length(mm, ".4g") for mm in (change.to_mm, change.was_mm))
        return f"feed across by {step} a pass instead of {was}, so that the cross feed ends with the floor"
    if change.kind is WheelChangeKind.FILLET:
        radius = write.length(change.to_mm, ".3g", "up")
        return (
            f"draw a fillet of at least {radius}, or an undercut, where the floor ends: the wheel's corner "
            "runs into that corner"
        )
    if change.wall is not None:
        return (
            f"turn {change.wall.body} by 90° about Z and set its stops anew, so that {change.wall} lies "
            "along the travel, and state that as the wall of the cut"
        )
    return f"use {_wheel_words(change, write)}"


def let_down_words(changes: Sequence[WheelChange], least_mm: float, write: Writing) -> str | None:
    """Return what lets the wheel down beside a body as a sentence; None where nothing does.

    Parameters
    ----------
    changes : sequence of WheelChange
        Flanges and wheels.
    least_mm : float
        The clearance that is then kept.
    write : Writing
        What writes lengths.

    Returns
    -------
    str or None
        The sentence.
    """
    if not changes:
        return None
    text = ", or ".join(_wheel_words(c, write) for c in changes)
    return f"Use {text}: ground again, {write.length(least_mm)} clear."


def _wheel_words(change: WheelChange, write: Writing) -> str:
    """Return which wheel or flanges to use, and at what speed."""
    kind, size_mm = change.kind, change.to_mm
    most = kind in {WheelChangeKind.THINNER, WheelChangeKind.FLANGES}
    size = f"{'most' if most else 'least'} {write.length(size_mm, '.1f', 'down' if most else 'up')}"
    if kind is WheelChangeKind.FLANGES:
        return f"flanges of at {size}"
    if kind is not WheelChangeKind.LARGER:
        return f"a wheel at {size} thick"
    speed = " at the speed that is marked on it" if change.marked_speed else ""
    speed = f" at no more than {change.most_rpm} rpm" if change.most_rpm is not None else speed
    return f"a wheel of at {size}{speed}"
