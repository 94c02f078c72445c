"""How parts hold and come off: pull by face, factor by part, how a part lets go, burrs after the cut."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from fixturecheck.faceref import FaceRef
from fixturecheck.result.shapes import Vector


class OffKind(StrEnum):
    """How a body comes off."""

    LIFT = "lift"
    TIP = "tip"
    SLIDE = "slide"


@dataclass(frozen=True, slots=True, kw_only=True)
class OffWay:
    """One way in which a body comes off.

    Parameters
    ----------
    kind : OffKind
        How it goes.
    along : Vector
        Unit direction of a lift or slide; level direction toward which a tip topples.
    about_bottom : bool
        A tip turns about an edge of the body's own level bottom.
    force_n : (float, float) or None
        What it takes, low to high; None where the residual pull is not known.
    rubs : tuple of (FaceRef, FaceRef)
        Pairs of faces that rub though one of them is finished.
    """

    kind: OffKind
    along: Vector
    about_bottom: bool
    force_n: tuple[float, float] | None
    rubs: tuple[tuple[FaceRef, FaceRef], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PryAt:
    """Where a tool gets under an edge.

    Parameters
    ----------
    under_mm : float
        How far it gets under a lip; zero at a square edge.
    at_mm : Vector
        The place.
    """

    under_mm: float
    at_mm: Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class SteelKeeps:
    """What magnetism a steel keeps.

    Parameters
    ----------
    kept, soft_too : str, bool
        The class of the steel, and whether its low end is soft.
    coercivity_a_m : (float, float)
        Low and high.
    path_mm : float
        Length of the flux path in it, from pole to pole.
    mmf_a : float
        What it drives over that path, at most.
    magnet_mmf_a : float or None
        What the magnet drives; None where that is not known.
    field_t, chips_t : float
        Flux density that it may show off the magnet, and that at which round chips hang on.
    """

    kept: str
    soft_too: bool
    coercivity_a_m: tuple[float, float]
    path_mm: float
    mmf_a: float
    magnet_mmf_a: float | None
    field_t: float
    chips_t: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstSteps:
    """What is done before the first body is touched.

    Parameters
    ----------
    grinds, mills : bool
        What has to be clear of the work: the wheel, the cutter.
    magnet_off, demagnetise : bool
        Whether a magnet is switched off, and its demagnetising cycle run.
    opened, loosened : tuple of str
        Vises and clamps.
    """

    grinds: bool
    mills: bool
    magnet_off: bool
    demagnetise: bool
    opened: tuple[str, ...] = ()
    loosened: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Burr:
    """One edge between a ground face and its neighbour that the wheel runs out over.

    Parameters
    ----------
    edge : str
        `body.a+b`, the two faces that meet there.
    ends : tuple of str
        `+X`, `-X` or both: the ends at which the table carries it out from under the wheel.
    sparks : bool
        One of the ends is where the wheel's rim leaves the work, which is where the burr is heavier.
    seats : tuple of str
        Which of the two faces is a seat in the set-up.
    length_mm : float
        Of the edge.
    """

    edge: str
    ends: tuple[str, ...]
    sparks: bool
    seats: tuple[str, ...]
    length_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ComesOff:
    """The motion in which a body comes off, as it was tried on the solids; for reports to show.

    Parameters
    ----------
    at_mm : Vector
        A point of the body; one of the line that it tips about where it tips.
    velocity : Vector
        Of that point, mm for each mm of the body's fastest point.
    rotation_rad_mm : Vector
        Rotation for each mm of the fastest point.
    travel_mm : float
        How far the fastest point was followed.
    """

    at_mm: Vector
    velocity: Vector
    rotation_rad_mm: Vector
    travel_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyLeaves:
    """How one body comes off after the cut.

    Parameters
    ----------
    body : str
        Its name.
    residual_n : (float, float) or None
        What still draws it with the magnet off, low to high, N; None where it is not known.
    ways : tuple of OffWay
        Which way it can lift or tip without sliding on a ground face, the easiest first; where none can,
        which way it comes off all the same; empty where it comes off no way.
    pry : PryAt or None
        Where a tool gets under an edge.
    by_hand : bool or None
        Whether fingers do it.
    at_mm, direction : Vector or None
        Where the first way starts, and which way it goes.
    keeps : SteelKeeps or None
        What magnetism its steel keeps; None where that is none to speak of, or is not known.
    keeps_unknown : str
        Why that is not known; empty where it is.
    motion : ComesOff or None
        The first of the ways; None where it comes off no way.
    """

    body: str
    residual_n: tuple[float, float] | None
    ways: tuple[OffWay, ...]
    pry: PryAt | None
    by_hand: bool | None = None
    at_mm: Vector | None = None
    direction: Vector | None = None
    keeps: SteelKeeps | None = None
    keeps_unknown: str = ""
    motion: ComesOff | None = None

    @property
    def demagnetise(self) -> bool:
        """Whether its steel keeps some magnetism."""
        return self.keeps is not None


FILM = "film of coolant"
"""What is lost where contacts that are stated as dry get wet."""


class MotionKind(StrEnum):
    """How a body starts to move; `turns` is about an axis near the vertical."""

    SLIDES = "slides"
    LIFTS = "lifts"
    DROPS = "drops"
    TIPS = "tips"
    TURNS = "turns"
    SLIDES_AND_TIPS = "slides and tips"
    SLIDES_AND_TURNS = "slides and turns"

    @property
    def upright(self) -> bool:
        """Whether the body turns about an axis near the vertical."""
        return self in {MotionKind.TURNS, MotionKind.SLIDES_AND_TURNS}

    @property
    def tips_over(self) -> bool:
        """Whether the body turns about an axis that lies."""
        return self in {MotionKind.TIPS, MotionKind.SLIDES_AND_TIPS}


class Outcome(StrEnum):
    """What the freed body does to the wheel or the cutter; only a cutter's bite is followed to a stop."""

    DIGS_IN = "digs in"
    STOPPED = "stopped"
    STAYS = "stays"
    FALLS_AWAY = "falls away"


class Tool(StrEnum):
    """What cuts a part."""

    WHEEL = "wheel"
    CUTTER = "cutter"


class Driver(StrEnum):
    """An input that is not known well, and drives the factor."""

    FRICTION = "friction"
    FINISH = "finish and material"
    METHOD = "error of the pull"
    CLAMP = "clamp force"
    DRAG = "drag of the wheel"
    PRESS = "push of the wheel"
    WALL = "push on the wall"
    CROSS = "push of the cross feed"
    SIZE = "size of the cutting force"


class ClampKind(StrEnum):
    """What presses a part onto its seats."""

    VISE = "vise"
    STRAP = "strap"
    TOE = "toe"


class MagnetState(StrEnum):
    """What the magnet is switched to."""

    OFF = "off"
    TRIFLE = "trifle"
    FULL = "full"


@dataclass(frozen=True, slots=True, kw_only=True)
class MagnetUsed:
    """What the magnet is taken for.

    Parameters
    ----------
    state : MagnetState
        What it is switched to.
    trifle_share : float
        Share of the full field that `trifle` gives, 0 to 1.
    gives_mm : tuple of float
        Gap behind the poles that it gives way like, at either end of what is known; empty where its pull is
        not known.
    calibrated : str or None
        The calibration that it is taken from.
    source_stated : bool
        Whether the set-up states the source itself.
    rated_n_cm2 : float
        Pull per area that every pull is relative to.
    rated_stated : bool
        Whether the set-up states that.
    piece, finish : str
        The piece that the rating was measured with.
    """

    state: MagnetState
    trifle_share: float = 0.0
    gives_mm: tuple[float, ...] = ()
    calibrated: str | None = None
    source_stated: bool = False
    rated_n_cm2: float = 0.0
    rated_stated: bool = False
    piece: str = ""
    finish: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyMotion:
    """How one body starts to move; speeds are relative to the fastest point of all bodies.

    Parameters
    ----------
    body : str
        Its name.
    kind : MotionKind
        How it moves.
    velocity : Vector
        Velocity of its reference point, mm per mm.
    rotation_rad_mm : Vector
        Rotation per mm of the fastest point.
    at_mm : Vector
        Its reference point.
    axis_mm, axis : Vector or None
        A point on the axis that it turns about, nearest to the reference point, and the direction.
    """

    body: str
    kind: MotionKind
    velocity: Vector
    rotation_rad_mm: Vector
    at_mm: Vector
    axis_mm: Vector | None
    axis: Vector | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LetsGo:
    """What a part does under a growing cutting load.

    Parameters
    ----------
    rests : bool
        Whether the set-up rests before the cut begins.
    factor : float
        Times the cutting load at which it lets go, the low end.
    at_least : bool
        The analysis stopped at `factor`; it may hold more.
    broke_off : bool
        No equilibrium was found beyond `factor`, though none of the bodies is known to move.
    motions : tuple of BodyMotion
        What moves, the fastest first; empty where nothing does.
    """

    rests: bool
    factor: float
    at_least: bool
    broke_off: bool
    motions: tuple[BodyMotion, ...]


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
    name : Driver
        What it is.
    unit : str
        Unit of its ends; empty for a plain number.
    span : (float, float)
        Its low and high end, in `unit`.
    factor_at_low, factor_at_high : float
        Factor with it at either end.
    """

    name: Driver
    unit: str
    span: tuple[float, float]
    factor_at_low: float
    factor_at_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldLoss:
    """What is left when one thing is lost.

    Parameters
    ----------
    lost : str
        Name of the body or clamp that is lost, or `FILM`.
    failure : LetsGo or None
        How it then lets go; None where that was not computed.
    reason : str
        Why not.
    """

    lost: str
    failure: LetsGo | None
    reason: str = ""

    @property
    def factor(self) -> float | None:
        """Times the cutting load that the part then holds; None where it was not computed."""
        return self.failure.factor if self.failure else None


class RemedyKind(StrEnum):
    """What is changed so that a part holds."""

    DOWNFEED = "downfeed"
    DEPTH = "depth of cut"
    WIDTH = "width of cut"
    FEED = "feed for each tooth"
    WAY = "way of milling"
    DIRECTION = "direction of the feed"
    CLAMPS = "clamps tightened"
    FASTENED = "loose block fastened"
    STOP = "stop added"
    DRY = "dry contacts"
    SLID = "slid along the magnet"
    SEAT = "larger seat"
    SWITCHED_ON = "magnet switched on"
    TURNED_UP = "magnet turned up"
    CHUCK = "chuck of a higher rating"
    FINISH = "finer finish"
    VISE = "vise"


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """A quantity as stated, and as changed.

    Parameters
    ----------
    name : str
        What it belongs to; empty where the kind of remedy says it.
    now, to : float
        In `unit`.
    unit : str
    """

    name: str = ""
    now: float
    to: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StopAt:
    """A block fastened against an upright side of a part.

    Parameters
    ----------
    axis, sign : int
        The side: along X (0) or Y (1), and which way it looks.
    place_mm : float
        Where the side lies along that axis.
    low_mm, high_mm : float
        From where to where the block reaches along the other.
    tall_mm : float
        How tall it is from the foot of the part.
    below_mm : float
        How far its top stays below the floor of the cut.
    """

    axis: int
    sign: int
    place_mm: float
    low_mm: float
    high_mm: float
    tall_mm: float
    below_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Jaws:
    """A part between the jaws of a vise.

    Parameters
    ----------
    axis : int
        They close along X (0) or Y (1).
    near_mm, far_mm : float
        Where they bear along that axis.
    below_mm : float
        How far they stay below the floor of the cut.
    torque_nm : float
        On the screw.
    """

    axis: int
    near_mm: float
    far_mm: float
    below_mm: float
    torque_nm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """A change that was put through the full analysis and reaches the least factor.

    Parameters
    ----------
    kind : RemedyKind
        What is changed.
    part : str
        The part that then holds.
    factor : float
        Times the cutting load that it then holds.
    at_least : bool
        The analysis stopped at `factor`; it may hold more.
    change_ratio : float
        How large the change is: what is needed over what there is, one or more. The smallest comes first.
    amounts : tuple of Amount
        Quantities as stated and as changed.
    names : tuple of str
        Of what is changed: blocks, a finish or a way as stated and as changed.
    stop : StopAt or None
        The block that is added.
    jaws : Jaws or None
        The vise that holds it instead.
    also : Remedy or None
        What is changed with it, where neither is enough alone.
    """

    kind: RemedyKind
    part: str
    factor: float
    at_least: bool
    change_ratio: float
    amounts: tuple[Amount, ...] = ()
    names: tuple[str, ...] = ()
    stop: StopAt | None = None
    jaws: Jaws | None = None
    also: Remedy | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartHeld:
    """How one part holds in one cut.

    Parameters
    ----------
    part, cut, case : str
        The part, the cut, and the stroke and place that it bears least.
    factor_low, factor_high : float
        Times the cutting load at which it lets go.
    pull_n, drag_n, press_n, wall_n : (float, float)
        Low and high of the magnet's pull, and of the cutting force along the rim, square to it, on the wall.
    cross_n : (float, float)
        The cutting force along the spindle that a cross feed makes, toward operator and column.
    milling_n : (float, float)
        Low and high of the cutting forces of all teeth along their way, added up; zero where a wheel cuts.
    load_n, load_at_mm : Vector
        Cutting force of the worst case, and where it acts.
    failure : LetsGo
        How it lets go.
    direction : Vector or None
        Which way the body that goes first moves where the load acts; None where nothing goes.
    outcome : Outcome or None
        None where nothing goes or it is not known.
    hits : str or None
        What it runs into.
    over : tuple of str
        What it had come up against, one after the other, before it went past it; empty where it did not.
    tips_over : bool
        Whether it tips over that.
    inputs : tuple of HoldInput
        What drives the factor, the strongest first.
    losses : tuple of HoldLoss
        The worst first.
    remedies : tuple of Remedy
        Changes that were tried and reach the factor, the smallest first.
    axis_mm, cutter_mm : Vector or None, float
        Lower end of the axis of a milling cutter, and its diameter; None and zero where a wheel cuts.
    """

    part: str
    cut: str
    case: str
    factor_low: float
    factor_high: float
    pull_n: tuple[float, float]
    drag_n: tuple[float, float]
    press_n: tuple[float, float]
    wall_n: tuple[float, float]
    cross_n: tuple[float, float]
    load_n: Vector
    load_at_mm: Vector
    failure: LetsGo
    direction: Vector | None
    outcome: Outcome | None
    hits: str | None
    inputs: tuple[HoldInput, ...]
    losses: tuple[HoldLoss, ...]
    remedies: tuple[Remedy, ...]
    milling_n: tuple[float, float] = (0.0, 0.0)
    axis_mm: Vector | None = None
    cutter_mm: float = 0.0
    over: tuple[str, ...] = ()
    tips_over: bool = False

    @property
    def at_least(self) -> bool:
        """Whether the analysis stopped at `factor_low`, so that it may hold more."""
        return self.failure.at_least

    @property
    def motions(self) -> tuple[BodyMotion, ...]:
        """Every body that starts to move, the fastest first."""
        return self.failure.motions

    @property
    def goes(self) -> str | None:
        """Name of the body that goes first; None where nothing goes."""
        return self.motions[0].body if self.motions else None


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
    magnet : MagnetUsed
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
    burrs : tuple of Burr
        Edges that the cuts made, to be stoned.
    before : FirstSteps or None
        What is done before the first body is touched; None where nothing comes off.
    ceiling : float
        Factor at which the search ends; one that reaches it is a bound.
    maps : tuple of PullMap
        The pull over the faces; for pictures only.
    section : FluxSection or None
        The flux in a plane; for pictures only.
    """

    magnet: MagnetUsed
    least_factor: float
    friction: FrictionUsed
    parts: tuple[PartHeld, ...]
    faces: tuple[FaceHeld, ...]
    missing: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    kept: tuple[tuple[str, str], ...] = ()
    left_out: tuple[str, ...] = ()
    leaving: tuple[BodyLeaves, ...] = ()
    burrs: tuple[Burr, ...] = ()
    before: FirstSteps | None = None
    ceiling: float = 30.0
    maps: tuple[PullMap, ...] = ()
    section: FluxSection | None = None

    @property
    def mills(self) -> bool:
        """Whether a cutter cuts any of the parts."""
        return any(any(p.milling_n) for p in self.parts)

    @property
    def grinds(self) -> bool:
        """Whether a wheel cuts any of the parts; said where nothing is known to cut them, too."""
        return not self.mills or any(not any(p.milling_n) for p in self.parts)
