"""How the hold of the parts becomes a part of result.json."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from typing import Any

from fixturecheck.errors import NotComputedError
from fixturecheck.hold_result import BodyMotion, HoldFound, HoldLoss, PartHeld
from fixturecheck.units import Writing
from fixturecheck.wording.hold import loss_words, magnet_words, past_words
from fixturecheck.wording.motion import lets_go_words

_DIGITS = 3
"""What a field solution on a mesh and ranges of friction are good for."""

_DRAWN = {"maps", "section"}
"""Thousands of points that only pictures need; what they add up to is in `faces`."""

_TOLD_OTHERWISE = {"failure", "over", "tips_over"}
"""Written as sentences and as the motions of the bodies."""


def hold_dict(hold: HoldFound | None, write: Writing) -> dict[str, Any] | None:
    """Return the hold as plain values, to three digits; None where it was not asked.

    Parameters
    ----------
    write : Writing
        How its sentences write quantities.

    Raises
    ------
    NotComputedError
        A number is infinite or not a number.
    """
    if hold is None:
        return None
    told = {f.name: getattr(hold, f.name) for f in fields(hold) if f.name not in _DRAWN}
    told["magnet"] = magnet_words(hold.magnet, write)
    told["parts"] = tuple(_part(p, write) for p in hold.parts)
    plain: dict[str, Any] = _value(told)
    return plain


def _part(part: PartHeld, write: Writing) -> dict[str, Any]:
    """Return one part's hold, with the sentences that its data is told in."""
    told = {f.name: getattr(part, f.name) for f in fields(part) if f.name not in _TOLD_OTHERWISE}
    return told | {
        "at_least": part.at_least,
        "says": lets_go_words(part.failure, write),
        "goes": part.goes,
        "motion_at_mm": part.motions[0].at_mm if part.motions else None,
        "outcome": str(part.outcome or ""),
        "losses": tuple(_loss(loss, write) for loss in part.losses),
        "moves": tuple(_motion(m) for m in part.motions),
        "past": past_words(part),
    }


def _loss(loss: HoldLoss, write: Writing) -> dict[str, Any]:
    says = lets_go_words(loss.failure, write) if loss.failure else loss.reason
    return {"lost": loss_words(loss.lost), "factor": loss.factor, "says": says}


def _motion(motion: BodyMotion) -> dict[str, Any]:
    return {
        "body": motion.body,
        "at_mm": motion.at_mm,
        "velocity": motion.velocity,
        "turn_rad_mm": motion.rotation_rad_mm,
    }


def _value(value: Any) -> Any:
    if isinstance(value, float):
        return _rounded(value)
    if isinstance(value, tuple):
        return [_value(v) for v in value]
    if isinstance(value, dict):
        return {name: _value(v) for name, v in value.items()}
    if is_dataclass(value):
        return {f.name: _value(getattr(value, f.name)) for f in fields(value)}
    return value


def _rounded(value: float) -> float:
    if not math.isfinite(value):
        message = f"a number of the hold came out as {value}"
        raise NotComputedError(message)
    # What is nothing but rounding is shown as nothing.
    return float(f"{value:.{_DIGITS}g}") if abs(value) > 1e-6 else 0.0
