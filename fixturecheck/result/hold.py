"""How parts hold: the magnet that was found and its pulls, the factor of each part, and how it lets go."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from fixturecheck.faceref import FaceRef
from fixturecheck.result.release import BodyLeaves, Burr, FirstSteps
from fixturecheck.result.remedy import Remedy, RemedyUnknown
from fixturecheck.result.shapes import Vector


class LossKind(StrEnum):
    """What is lost of a hold."""

    BODY = "body"
    CLAMP = "clamp"
    DRYNESS = "dryness"


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """One thing that may be lost of a hold.

    Parameters
    ----------
    kind : LossKind
        What it is.
    name : str
        Of the body or clamp; empty for other kinds.
    """

    kind: LossKind
    name: str = ""

    @property
    def label(self) -> str:
        """What it goes by among the names of bodies; no body has such a name as a clamp then has."""
        return f"clamp {self.name}" if self.kind is LossKind.CLAMP else self.name


FILM = Loss(kind=LossKind.DRYNESS)
"""Contacts that are stated as dry get wet."""


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


class PullNoteKind(StrEnum):
    """What there is to know about how the magnet's pull was computed."""

    COARSE = "coarse"
    NOT_MAGNETIC = "not magnetic"
    NO_CURVE = "no curve"
    LEFT_OUT = "left out"
    NO_FLUX = "no flux"


@dataclass(frozen=True, slots=True, kw_only=True)
class PullNote:
    """One thing to know about how the magnet's pull was computed.

    Parameters
    ----------
    kind : PullNoteKind
        What it is.
    of : str
        The body, material or face.
    material : str
        Of what a body is that is not magnetic; empty for other kinds.
    across : tuple of str
        The faces and poles between which and the face flux is left out.
    mesh_mm : float
        Size of the elements of a body that was meshed coarser than asked; zero for other kinds.
    """

    kind: PullNoteKind
    of: str
    material: str = ""
    across: tuple[str, ...] = ()
    mesh_mm: float = 0.0


class MotionKind(StrEnum):
    """How a body starts to move; `turns` is about an upright axis, `rolls` about that of its round."""

    SLIDES = "slides"
    LIFTS = "lifts"
    DROPS = "drops"
    TIPS = "tips"
    TURNS = "turns"
    SLIDES_AND_TIPS = "slides and tips"
    SLIDES_AND_TURNS = "slides and turns"
    ROLLS = "rolls"
    SLIDES_AND_ROLLS = "slides and rolls"

    @property
    def upright(self) -> bool:
        """Whether the body turns about an axis near the vertical."""
        return self in {MotionKind.TURNS, MotionKind.SLIDES_AND_TURNS}

    @property
    def rolls(self) -> bool:
        """Whether the body turns on the round that carries it."""
        return self in {MotionKind.ROLLS, MotionKind.SLIDES_AND_ROLLS}

    @property
    def tips_over(self) -> bool:
        """Whether the body turns over an edge that lies."""
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
    DRILL = "drill"


class Stroke(StrEnum):
    """Which way the table goes."""

    RIGHT = "table to the right"
    LEFT = "table to the left"

    @property
    def travel(self) -> float:
        """Sign of the table's travel along X."""
        return 1.0 if self is Stroke.RIGHT else -1.0


class CutterWay(StrEnum):
    """How a cutter stands to what it cuts."""

    CLIMB = "climb"
    CONVENTIONAL = "conventional"
    CENTRED = "centred"


class AxialStroke(StrEnum):
    """What a tool does on its way down, or back."""

    DRILLS = "drilling"
    BREAKS_THROUGH = "breaking through"
    SEATS = "making the seat"
    TAPS = "tapping"
    BACKS_OUT = "backing the tap out"
    PLUNGES = "plunging"
    RAMPS = "going down a slope"
    ENTERS = "going straight in"


class End(StrEnum):
    """Where along X a tool stands on a face."""

    LEFT = "left"
    MIDDLE = "middle"
    RIGHT = "right"


class Edge(StrEnum):
    """Where along Y a tool stands on a face."""

    FRONT = "front"
    MIDDLE = "middle"
    BACK = "back"


@dataclass(frozen=True, slots=True, kw_only=True)
class CutCase:
    """What one case of a cut is known by: the stroke, and where the tool stands.

    Parameters
    ----------
    stroke : Stroke, CutterWay or AxialStroke
        Which way the table goes; of a milling cut, how the cutter stands to what it cuts; of a tool that goes
        down its own axis, what it does there.
    end, edge : End or None, Edge or None
        Where it stands on the face: a wheel at one of each, a cutter at either, along its feed.
    at_mm : tuple of float or None
        X and Y of the place, where the face's ends and edges do not tell it from others.
    first_pass : bool
        The wheel is in its first pass, which lies higher than the last.
    force_n : float
        Force of all teeth of a milling cutter together; zero for other tools.
    """

    stroke: Stroke | CutterWay | AxialStroke
    end: End | None = None
    edge: Edge | None = None
    at_mm: tuple[float, float] | None = None
    first_pass: bool = False
    force_n: float = 0.0

    @property
    def order(self) -> tuple[Any, ...]:
        """What sorts cases that are borne alike, however they were found: the greatest force first."""
        place = self.end is None, self.end or "", self.edge or "", self.at_mm or ()
        return -round(self.force_n, 3), self.stroke, *place, self.first_pass


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
    THRUST = "thrust over torque"
    TORQUE = "torque"


class ClampKind(StrEnum):
    """What presses a part onto its seats."""

    VISE = "vise"
    STRAP = "strap"
    TOE = "toe"


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
    lost : Loss
        What is lost.
    failure : LetsGo or None
        How it then lets go; None where that was not computed.
    reason : str
        Why not.
    """

    lost: Loss
    failure: LetsGo | None
    reason: str = ""

    @property
    def factor(self) -> float | None:
        """Times the cutting load that the part then holds; None where it was not computed."""
        return self.failure.factor if self.failure else None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartHeld:
    """How one part holds in one cut.

    Parameters
    ----------
    part, cut : str
        Names of the part and the cut.
    case : CutCase
        The stroke and place that it bears least.
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
    tool : Tool
        What cuts it.
    thrust_n, torque_nm : (float, float)
        Of a tool that goes down its own axis: low and high of what it pushes down, below zero where it lifts,
        and of what it turns the part with; zero for others.
    """

    part: str
    cut: str
    case: CutCase
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
    tool: Tool = Tool.WHEEL
    thrust_n: tuple[float, float] = (0.0, 0.0)
    torque_nm: tuple[float, float] = (0.0, 0.0)

    @property
    def down_its_axis(self) -> bool:
        """Whether the tool goes down its own axis: drills, taps or plunges."""
        return any(self.torque_nm)

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


class KeptReason(StrEnum):
    """Why a fixture is taken to be there throughout."""

    JAW = "jaw"
    MAGNET = "magnet"
    PIECE = "piece"
    FASTENED = "fastened"
    TABLE = "table"
    ATTACHED = "attached"
    NOT_LISTED = "not listed"


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptFixture:
    """A fixture that is taken to be there throughout.

    Parameters
    ----------
    body : str
        The fixture.
    reason : KeptReason
        Why.
    of : tuple of str
        The group it is a piece of, or the bodies that it is screwed to; empty for other reasons.
    """

    body: str
    reason: KeptReason
    of: tuple[str, ...] = ()


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
    notes : tuple of PullNote or RemedyUnknown
        What there is to know of the pull, and remedies that could not be looked for.
    kept : tuple of KeptFixture
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
    notes: tuple[PullNote | RemedyUnknown, ...] = ()
    kept: tuple[KeptFixture, ...] = ()
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
        return any(p.tool is Tool.CUTTER for p in self.parts)

    @property
    def drills(self) -> bool:
        """Whether any of the parts is drilled."""
        return any(p.tool is Tool.DRILL for p in self.parts)

    @property
    def grinds(self) -> bool:
        """Whether a wheel cuts any of the parts; said where nothing is known to cut them, too."""
        return not self.parts or any(p.tool is Tool.WHEEL for p in self.parts)
