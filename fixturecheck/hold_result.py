"""The nouns of a hold in an answer: pull by face, factor by part, how bodies come off."""

from __future__ import annotations

from dataclasses import dataclass

Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceHeld:
    """The magnet's pull across one pair of faces.

    Parameters
    ----------
    a, b : str
        `body.face` of either side.
    low_n, high_n : float
        Pull, with all that is not known well.
    area_mm2 : float
        Area that carries it.
    flux_density_t : float
        Mean over that area.
    centre_mm, toward : Vector
        Centre of pull, and the way in which `a` is drawn.
    """

    a: str
    b: str
    low_n: float
    high_n: float
    area_mm2: float
    flux_density_t: float
    centre_mm: Vector
    toward: Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldInput:
    """What one input does to a factor of safety, the others in the middle.

    Parameters
    ----------
    span : (float, float)
        Its low and high end, in `unit`.
    factor_at_low, factor_at_high : float
        Factor with it at either end.
    """

    name: str
    unit: str
    span: tuple[float, float]
    factor_at_low: float
    factor_at_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldLoss:
    """The factor that is left when one thing is lost; None where it could not be computed."""

    lost: str
    factor: float | None
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PartHeld:
    """How one part holds in one cut.

    Parameters
    ----------
    part, cut, case : str
        The part, the cut, and the stroke and place that it bears least.
    factor_low, factor_high : float
        Times the cutting load at which it lets go.
    at_least : bool
        The analysis stopped at `factor_low`; it may hold more.
    pull_n, drag_n, press_n, wall_n : (float, float)
        Low and high of the magnet's pull, and of the cutting force along the rim, square to it, on the wall.
    load_n, load_at_mm : Vector
        Cutting force of the worst case, and where it acts.
    says : str
        How it lets go.
    goes, direction, motion_at_mm
        Body that goes first, which way, and where; None where nothing goes.
    outcome : str
        `digs in`, `stays` or `falls away`; empty where nothing goes or it is not known.
    hits : str or None
        What it runs into.
    inputs : tuple of HoldInput
        What drives the factor, the strongest first.
    losses : tuple of HoldLoss
        The worst first.
    remedies : tuple of str
        Changes that were tried and reach the factor.
    """

    part: str
    cut: str
    case: str
    factor_low: float
    factor_high: float
    at_least: bool
    pull_n: tuple[float, float]
    drag_n: tuple[float, float]
    press_n: tuple[float, float]
    wall_n: tuple[float, float]
    load_n: Vector
    load_at_mm: Vector
    says: str
    goes: str | None
    direction: Vector | None
    motion_at_mm: Vector | None
    outcome: str
    hits: str | None
    inputs: tuple[HoldInput, ...]
    losses: tuple[HoldLoss, ...]
    remedies: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyLeaves:
    """How one body comes off after the cut.

    Parameters
    ----------
    residual_n : (float, float) or None
        What still draws it with the magnet off.
    ways : tuple of str
        How it can be lifted or tipped without sliding on a ground face.
    pry : str or None
        Where a tool gets under an edge.
    demagnetise : bool
        Its steel keeps magnetism.
    """

    body: str
    residual_n: tuple[float, float] | None
    ways: tuple[str, ...]
    pry: str | None
    demagnetise: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldFound:
    """What was found of a set-up's hold.

    Parameters
    ----------
    magnet : str
        Its state, with the rating that every pull is relative to.
    least_factor : float
        Times the cutting load that was asked for.
    missing : tuple of (subject, reason)
        What could not be computed.
    notes : tuple of str
        What was assumed.
    leaving : tuple of BodyLeaves
        In the order in which bodies come away.
    burrs : tuple of str
        Edges that the cuts made, to be stoned.
    ceiling : float
        Factor at which the search ends; one that reaches it is a bound.
    """

    magnet: str
    least_factor: float
    parts: tuple[PartHeld, ...]
    faces: tuple[FaceHeld, ...]
    missing: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    leaving: tuple[BodyLeaves, ...] = ()
    burrs: tuple[str, ...] = ()
    ceiling: float = 30.0
