"""The nouns of a hold in an answer: pull by face, factor by part, how bodies come off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fixturecheck.faceref import FaceRef

Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceHeld:
    """The magnet's pull across one pair of faces.

    Parameters
    ----------
    a, b : FaceRef
        Face on either side.
    low_n, high_n : float
        Pull, with all that is not known well.
    area_mm2 : float
        Area that carries it.
    flux_density_t : float
        Mean over that area.
    centre_mm, toward : Vector
        Centre of pull, and the way in which `a` is drawn.
    """

    a: FaceRef
    b: FaceRef
    low_n: float
    high_n: float
    area_mm2: float
    flux_density_t: float
    centre_mm: Vector
    toward: Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldInput:
    """What one input does to a factor of safety, the others in the middle, or weak beyond the search.

    Parameters
    ----------
    name, unit : str
        What it is, and the unit of its ends; empty for a plain number.
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
    """The factor that is left when one thing is lost.

    Parameters
    ----------
    lost : str
        What is lost, in words: `without block_left`, `with a film of coolant`.
    factor : float or None
        Times the cutting load that the part then holds; None where it was not computed.
    says : str
        How it then lets go.
    """

    lost: str
    factor: float | None
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyMoves:
    """How one body starts to move when a part lets go; the fastest point of all bodies moves one mm.

    Parameters
    ----------
    body : str
        Its name.
    at_mm : Vector
        A point of the body.
    velocity : Vector
        Of that point, mm per mm.
    turn_rad_mm : Vector
        Rotation per mm.
    """

    body: str
    at_mm: Vector
    velocity: Vector
    turn_rad_mm: Vector


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
    cross_n : (float, float)
        The cutting force along the spindle that a cross feed makes, toward operator and column.
    milling_n : (float, float)
        Low and high of the cutting forces of all teeth along their way, added up; zero where a wheel cuts.
    load_n, load_at_mm : Vector
        Cutting force of the worst case, and where it acts.
    says : str
        How it lets go.
    goes, direction, motion_at_mm : str or None, Vector or None, Vector or None
        Body that goes first, which way, and where; None where nothing goes.
    outcome : str
        `digs in`, `stopped`, `stays` or `falls away`; empty where nothing goes or it is not known.
    hits : str or None
        What it runs into.
    past : str
        How it goes on past what stops it, such as `tips over rail`; empty where it does not.
    inputs : tuple of HoldInput
        What drives the factor, the strongest first.
    losses : tuple of HoldLoss
        The worst first.
    remedies : tuple of str
        Changes that were tried and reach the factor.
    moves : tuple of BodyMoves
        Every body that starts to move, the fastest first.
    axis_mm, cutter_mm : Vector or None, float
        Lower end of the axis of a milling cutter, and its diameter; None and zero where a wheel cuts.
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
    cross_n: tuple[float, float]
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
    moves: tuple[BodyMoves, ...] = ()
    milling_n: tuple[float, float] = (0.0, 0.0)
    axis_mm: Vector | None = None
    cutter_mm: float = 0.0
    past: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyLeaves:
    """How one body comes off after the cut.

    Parameters
    ----------
    body : str
        Its name.
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
class PullMap:
    """The pull over one pair of faces, to be drawn: small squares, each of one pull per area.

    Parameters
    ----------
    a, b : FaceRef
        Face on either side.
    toward : Vector
        Square to the faces, the way in which `a` is drawn.
    points_mm : tuple of Vector
        Middles of the squares.
    area_mm2, pull_n_cm2 : tuple of float
        Of each square, at the weak end of what is not known well.
    """

    a: FaceRef
    b: FaceRef
    toward: Vector
    points_mm: tuple[Vector, ...]
    area_mm2: tuple[float, ...]
    pull_n_cm2: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FluxSection:
    """The flux in a plane through the iron, to be drawn.

    Parameters
    ----------
    normal, at_mm : Vector
        Of the plane; `at_mm` is the middle of the window.
    wide_mm, spacing_mm : float
        Width of the window, and how far apart its points are.
    points_mm, flux_density_t : tuple of Vector
        Places in the iron and the flux density there.
    outlines : tuple of (body, pieces)
        Where the plane cuts each iron body: straight pieces by their two ends.
    poles : tuple of (name, place)
        `N` or `S`, and the middle of the pole in the plane.
    """

    normal: Vector
    at_mm: Vector
    wide_mm: float
    spacing_mm: float
    points_mm: tuple[Vector, ...]
    flux_density_t: tuple[Vector, ...]
    outlines: tuple[tuple[str, tuple[tuple[Vector, Vector], ...]], ...]
    poles: tuple[tuple[str, Vector], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FrictionUsed:
    """The friction between all contacts.

    Parameters
    ----------
    coolant : bool
        Whether a film of coolant lies between them.
    mu : (float, float)
        Low and high of what every factor is worked out with.
    dry_mu : (float, float)
        The same of the dry contact, as stated or from the table.
    by_material : mapping of str to (float, float)
        Of the contacts of materials that are slipperier than that.
    """

    coolant: bool
    mu: tuple[float, float]
    dry_mu: tuple[float, float]
    by_material: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldFound:
    """What was found of a set-up's hold.

    Parameters
    ----------
    magnet : str
        Its state, with the rating that every pull is relative to.
    least_factor : float
        Times the cutting load that was asked for.
    friction : FrictionUsed
        Wet or dry, and what it comes to.
    parts : tuple of PartHeld
        How each part holds in each cut.
    faces : tuple of FaceHeld
        The magnet's pull, face by face.
    missing : tuple of (subject, reason)
        What could not be computed.
    notes : tuple of str
        What was assumed.
    kept : tuple of (body, reason)
        Fixtures that are taken to be there throughout: no loss of them was looked at.
    left_out : tuple of str
        Fixtures that stand on nothing: every figure is without them.
    leaving : tuple of BodyLeaves
        In the order in which bodies come away.
    burrs : tuple of str
        Edges that the cuts made, to be stoned.
    before : str
        What is done before the first body is touched; empty where nothing comes off.
    ceiling : float
        Factor at which the search ends; one that reaches it is a bound.
    maps : tuple of PullMap
        The pull over the faces; for pictures only.
    section : FluxSection or None
        The flux in a plane; for pictures only.
    """

    magnet: str
    least_factor: float
    friction: FrictionUsed
    parts: tuple[PartHeld, ...]
    faces: tuple[FaceHeld, ...]
    missing: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    kept: tuple[tuple[str, str], ...] = ()
    left_out: tuple[str, ...] = ()
    leaving: tuple[BodyLeaves, ...] = ()
    burrs: tuple[str, ...] = ()
    before: str = ""
    ceiling: float = 30.0
    maps: tuple[PullMap, ...] = ()
    section: FluxSection | None = None
