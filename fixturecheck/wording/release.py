"""How the way in which a body comes off is written, and what is done before and after."""

from __future__ import annotations

import math

from fixturecheck.result.release import Burr, FirstSteps, OffKind, OffWay, PryAt, SteelKeeps
from fixturecheck.result.shapes import Vector
from fixturecheck.units import METRIC, Writing

_SIDES = (
    ((0.0, -1.0), "front", "-Y"),
    ((0.0, 1.0), "back", "+Y"),
    ((-1.0, 0.0), "left", "-X"),
    ((1.0, 0.0), "right", "+X"),
)
_SOME = 0.2
_UPRIGHT = 0.999


def first_words(steps: FirstSteps) -> str:
    """Return what comes before the first body is touched, without a full stop."""
    tools = (["wheel"] if steps.grinds or not steps.mills else []) + (["cutter"] if steps.mills else [])
    told = [f"{' and '.join(tools)} clear of the work and the spindle at rest"]
    told += ["magnet off"] if steps.magnet_off else []
    told += ["its demagnetising cycle run where it has one"] if steps.demagnetise else []
    told += [f"open {name}" for name in steps.opened] + [f"loosen {name}" for name in steps.loosened]
    return ", ".join(told)


def step_words(name: str, way: OffWay | None, *, hand_n: float, keeps: bool, write: Writing = METRIC) -> str:
    """Return what to do with a body in one sentence, without its full stop.

    Parameters
    ----------
    hand_n : float
        What fingers do.
    keeps : bool
        Its steel keeps magnetism, so that the force stands only once that is out.
    """
    if way is None:
        return f"{name} comes off no way that was tried: neither lifted, nor tipped, nor slid"
    words = f"{str(way.kind).capitalize()} {name} {_where(way)}"
    if way.force_n is None:
        return f"{words}, against a residual pull that is not known"
    with_what = "by hand" if way.force_n[1] <= hand_n else "more than fingers can"
    if keeps:
        with_what += " once demagnetised, more before"
    if way.kind is OffKind.TIP:
        if way.force_n[1] == 0.0:
            return f"{words}: it topples by itself, so keep a hand on it"
        return f"{words}: {_force(way.force_n, write)} under the far edge, {with_what}"
    return f"{words}: {_force(way.force_n, write)}, {with_what}"


def way_words(way: OffWay, write: Writing = METRIC) -> str:
    """Return one way in words, with what it takes and what it rubs."""
    words = f"{way.kind} {_where(way)}"
    if way.force_n is not None:
        words += f", {_force(way.force_n, write)}"
    if way.rubs:
        words += f"; rubs {', '.join(f'{own} on {other}' for own, other in way.rubs)}"
    return words


def pry_words(pry: PryAt, write: Writing = METRIC) -> str:
    """Return where a tool gets under an edge."""
    lip = f"under a lip of {write.length(pry.under_mm, '.2g')}"
    under = lip if pry.under_mm else "at a square edge, with a thin wedge"
    place = ", ".join(write.number(v, "mm", ".0f") for v in pry.at_mm)
    return f"{under}, at ({place}) {write.name('mm')}"


def burr_words(burr: Burr) -> str:
    """Return where an edge is that is stoned, and why it matters."""
    where = "both ends of the stroke" if len(burr.ends) > 1 else f"the {burr.ends[0]} end"
    heavy = ", where the sparks leave" if burr.sparks and len(burr.ends) == 1 else ""
    seat = f"; {' and '.join(burr.seats)} is a seat" if burr.seats else ""
    return f"{burr.edge} at {where}{heavy}{seat}"


def keeps_words(keeps: SteelKeeps, write: Writing = METRIC) -> str:
    """Say what magnetism a steel keeps, and what it does to chips."""
    low, high = (c * 1e-3 for c in keeps.coercivity_a_m)
    spread = f"soft to {keeps.kept}" if keeps.soft_too else keeps.kept
    magnet = keeps.magnet_mmf_a
    beside = f" beside the {magnet:.0f} A of the magnet" if magnet is not None else ""
    chips = f"{keeps.chips_t * 1e3:.2g} mT"
    words = f"{spread} material, coercivity {low:.2g} to {high:.2g} kA/m"
    words += f": over {write.length(keeps.path_mm, '.0f')} between poles it drives up to {keeps.mmf_a:.0f} A "
    words += f"of its own{beside}, and off the magnet it may show {keeps.field_t * 1e3:.2g} mT, "
    if keeps.field_t > keeps.chips_t:
        return words + f"where chips hang on from {chips}"
    return words + f"less than the {chips} at which round chips hang on, though slivers may"


def compass(along: Vector) -> tuple[str, str]:
    """Return a level direction as sides of the machine and as axes: `front left`, `-X -Y`."""
    size = max(math.hypot(along[0], along[1]), 1e-12)
    named = [(side, axis) for (x, y), side, axis in _SIDES if (x * along[0] + y * along[1]) / size > _SOME]
    return " ".join(side for side, _ in named), " ".join(axis for _, axis in reversed(named))


def _force(span: tuple[float, float], write: Writing) -> str:
    low, high = (write.number(v, "N", ".2g" if v < 100.0 else ".0f") for v in span)
    return f"{low if low == high else f'{low} to {high}'} {write.name('N')}"


def _where(way: OffWay) -> str:
    side, toward = compass(way.along)
    if way.kind is OffKind.TIP:
        edge = f"its {side} bottom edge" if way.about_bottom else f"the {side} edge of its seat"
        return f"about {edge}, toward {toward}"
    if way.kind is OffKind.SLIDE:
        return f"toward {toward}"
    return "straight up" if way.along[2] > _UPRIGHT else f"up and away toward {toward} at once"
