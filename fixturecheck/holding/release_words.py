"""Puts into words how a body comes off."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fixturecheck.hold_result import ClampKind
from fixturecheck.holding.coming_off import Touch, WayOff
from fixturecheck.holding.keeping import SOFT_BELOW_A_M
from fixturecheck.physics.ranges import Range
from fixturecheck.setup.model import Setup
from fixturecheck.units import METRIC, Writing

_SIDES = (
    (np.array([1.0, 0.0]), "right", "+X"),
    (np.array([-1.0, 0.0]), "left", "-X"),
    (np.array([0.0, 1.0]), "back", "+Y"),
    (np.array([0.0, -1.0]), "front", "-Y"),
)
_SOME = 0.2


def first_steps(setup: Setup, *, keeps: bool) -> str:
    """Return what comes before the first body is touched.

    Parameters
    ----------
    keeps : bool
        Some of the steel keeps magnetism.
    """
    holding = setup.holding
    tools = (["wheel"] if setup.cuts else []) + (["cutter"] if holding and holding.milling else [])
    steps = [f"{' and '.join(tools) or 'wheel'} clear of the work and the spindle at rest"]
    if setup.poles():
        steps.append("magnet off")
        steps += ["its demagnetising cycle run where it has one"] if keeps else []
    clamps = holding.clamps if holding else ()
    steps += [f"open {c.body}" if c.kind == ClampKind.VISE else f"loosen {c.name}" for c in clamps]
    words = ", ".join(steps)
    return words[0].upper() + words[1:]


def step_words(
    name: str,
    way: WayOff | None,
    force_n: Range | None,
    touches: Sequence[Touch],
    *,
    hand_n: float,
    keeps: bool,
    write: Writing = METRIC,
) -> str:
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
    words = f"{_verb(way)} {name} {_where(way, touches)}"
    if force_n is None:
        return f"{words}, against a residual pull that is not known"
    with_what = "by hand" if force_n.high <= hand_n else "more than fingers can"
    if keeps:
        with_what += " once demagnetised, more before"
    if way.motion.kind == "tip":
        if force_n.high == 0.0:
            return f"{words}: it topples by itself, so keep a hand on it"
        return f"{words}: {_force(force_n, write)} under the far edge, {with_what}"
    return f"{words}: {_force(force_n, write)}, {with_what}"


def way_words(way: WayOff, force_n: Range | None, touches: Sequence[Touch], write: Writing = METRIC) -> str:
    """Return one way in words, with what it takes and what it rubs."""
    words = f"{_verb(way)} {_where(way, touches)}".lower().replace("+x", "+X").replace("-x", "-X")
    words = words.replace("+y", "+Y").replace("-y", "-Y")
    if force_n is not None:
        words += f", {_force(force_n, write)}"
    if not way.clean:
        words += f"; rubs {', '.join(f'{t.own} on {t.other}' for t in way.harms)}"
    return words


def keeps_words(
    *,
    kept: str,
    coercivity_a_m: tuple[float, float],
    path_mm: float,
    mmf_a: float,
    magnet_mmf_a: float | None,
    field_t: float,
    chips_t: float,
    write: Writing = METRIC,
) -> str:
    """Say what magnetism a steel keeps, and what it does to chips."""
    low, high = (c * 1e-3 for c in coercivity_a_m)
    spread = kept if coercivity_a_m[0] >= SOFT_BELOW_A_M else f"soft to {kept}"
    words = f"{spread} material, coercivity {low:.2g} to {high:.2g} kA/m"
    beside = f" beside the {magnet_mmf_a:.0f} A of the magnet" if magnet_mmf_a is not None else ""
    words += f": over {write.length(path_mm, '.0f')} between poles it drives up to {mmf_a:.0f} A "
    words += f"of its own{beside}"
    words += f", and off the magnet it may show {field_t * 1e3:.2g} mT, "
    if field_t > chips_t:
        return words + f"where chips hang on from {chips_t * 1e3:.2g} mT"
    return words + f"less than the {chips_t * 1e3:.2g} mT at which round chips hang on, though slivers may"


def _force(span: Range, write: Writing) -> str:
    low, high = (write.number(v, "N", ".2g" if v < 100.0 else ".0f") for v in (span.low, span.high))
    return f"{low if low == high else f'{low} to {high}'} {write.name('N')}"


def _verb(way: WayOff) -> str:
    return {"lift": "Lift", "tip": "Tip", "slide": "Slide"}[way.motion.kind]


def _where(way: WayOff, touches: Sequence[Touch]) -> str:
    motion = way.motion
    side, toward = compass(motion.along)
    if motion.kind == "tip":
        flat = all(t.normal[2] < -0.999 for t in touches if t.supports)
        return (
            f"about {f'its {side} bottom edge' if flat else f'the {side} edge of its seat'}, toward {toward}"
        )
    if motion.kind == "slide":
        return f"toward {toward}"
    if motion.along[2] > 0.999:
        return "straight up"
    return f"up and away toward {toward} at once"


def compass(along: NDArray[np.float64]) -> tuple[str, str]:
    """Return a level direction as sides of the machine and as axes: `front left`, `-X -Y`."""
    level = along[:2] / max(float(np.linalg.norm(along[:2])), 1e-12)
    named = [(side, axis) for way, side, axis in _SIDES if float(way @ level) > _SOME]
    sides = [s for s, _ in reversed(named)]
    return " ".join(sides), " ".join(a for _, a in named)
