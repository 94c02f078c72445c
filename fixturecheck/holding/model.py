"""What is known of a hold: loads, factors with their ranges, where a part goes, what would cure it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fixturecheck.holding.pull import Pulls
from fixturecheck.physics.collapse_crash import Crash
from fixturecheck.physics.collapse_range import FactorRange, Loss
from fixturecheck.physics.grinding import Forces
from fixturecheck.physics.ranges import Range
from fixturecheck.result import Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadCase:
    """One place and stroke of the cut at which a part is looked at.

    Parameters
    ----------
    label : str
        In words.
    stroke : str
        `table to the right` or `table to the left`.
    at_mm : Vector
        The wheel's lowest point.
    """

    label: str
    stroke: str
    at_mm: Vector


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ways:
    """What happens once a part has let go.

    Parameters
    ----------
    crash : Crash or None
        Its overlap with the wheel; None where it could not be followed.
    hits : str or None
        The first body that it runs into; None where it meets none.
    hits_after_mm : float or None
        How far it has moved by then.
    reason : str
        Why `crash` is None.
    """

    crash: Crash | None
    hits: str | None = None
    hits_after_mm: float | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartHold:
    """How one part holds in one cut.

    Parameters
    ----------
    part, cut : str
        Their names.
    forces : Forces
        Cutting force, low to high.
    case : LoadCase
        Stroke and place that it bears least.
    factors : FactorRange
        Times the cutting load, with what drives it.
    load_n : Vector
        The cutting force of that case at its worst end.
    pull_n : Range
        Pull of the magnet on the part.
    losses : tuple of Loss
        What is left when one thing is lost, the worst first.
    ways : Ways
        Where it goes.
    remedies : tuple of str
        Changes that were tried and reach the factor.
    """

    part: str
    cut: str
    forces: Forces
    case: LoadCase
    factors: FactorRange
    load_n: Vector
    pull_n: Range
    losses: tuple[Loss, ...] = ()
    ways: Ways | None = None
    remedies: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaving:
    """How one body comes off after the cut.

    Parameters
    ----------
    body : str
        Its name.
    residual_n : Range or None
        What still draws it with the magnet off; None where no magnet does.
    ways : tuple of str
        Which way it can lift or tip without sliding on a ground face.
    pry : str or None
        An edge that a tool can get under.
    demagnetise : bool
        Its steel keeps some magnetism.
    """

    body: str
    residual_n: Range | None
    ways: tuple[str, ...]
    pry: str | None
    demagnetise: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Release:
    """How the set-up comes apart: bodies in the order in which they come away, and edges to stone."""

    order: tuple[Leaving, ...]
    burrs: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Held:
    """All that was found of a set-up's hold.

    Parameters
    ----------
    parts : tuple of PartHold
        One for each part of each cut that could be computed.
    pulls : Pulls or None
        The magnet as stated; None where it could not be computed.
    release : Release or None
        How it comes apart.
    missing : mapping of str to str
        By subject, why it could not be computed.
    notes : tuple of str
        What was assumed, in words.
    """

    parts: tuple[PartHold, ...]
    pulls: Pulls | None
    release: Release | None
    missing: Mapping[str, str]
    notes: tuple[str, ...] = ()
