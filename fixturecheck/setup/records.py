"""The tables of a set-up as data classes: the head, equipment, bodies, seats, cuts, the machine, reliefs.

Each field is a key, with its unit in its name, and what it takes beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from fixturecheck.errors import Mistakes, SetupError, about
from fixturecheck.faceref import FaceRef
from fixturecheck.fields import HIDDEN, Allowed, allowed, recorded
from fixturecheck.names import allowed_name, nearest
from fixturecheck.result.contact import Sparks
from fixturecheck.result.relief import ReliefKind
from fixturecheck.setup.dials import Handwheel
from fixturecheck.shop.wheels import Flange, Guard
from fixturecheck.units import SMALL_LENGTHS, UNITS

if TYPE_CHECKING:
    from fixturecheck.setup.model import Setup


class BodyRole(StrEnum):
    """`part` is ground, `fixture` holds it."""

    PART = "part"
    FIXTURE = "fixture"


class PoleSign(StrEnum):
    """The pole of a magnet that a pole piece carries."""

    N = "n"
    S = "s"


ZONE_MM = Allowed(least=1e-5, most=100.0)
"""Width of a tolerance zone."""

LEAN_MM = Allowed(least=0.0, most=10.0)
"""Width of an orientation zone; zero only shifts."""

PLACE_MM = Allowed(least=-10_000.0, most=10_000.0)
TURN_DEG = Allowed(least=-36_000.0, most=36_000.0)
MOST_TURNS = 50
MOST_SELECTOR = 300
MOST_COUNT = 500
PITCHES = ("nest",)
STATES = ("before", "after")
"""How many turns and letters of a selector a body may have; parts of a gang, the words for the distance
between them, and when a part of a job is meant."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadEntry:
    """What the set-up is called, and what it is shown in.

    Parameters
    ----------
    name : str
        What the operation is called in reports; the file's name where it is left out.
    units : str
        What reports show, and what `at` and `near` are stated in. A quantity of its own says its unit in its
        key: `stock_mm`, `stock_in`.
    small_lengths : str
        What lengths below a tenth of an inch are shown in: `thou` with inches, else as all others.
    shop : str
        A file of your own with materials, finishes, wheels and the machine, counted from the set-up's
        folder.
    guessed : list of str
        Values of this file that nobody has confirmed, as `--set` names them: `cut.top.stock_mm`. Reports list
        what rests on each.
    """

    name: str | None = None
    units: str = field(default="mm", metadata=allowed(words=UNITS))
    small_lengths: str = field(default=SMALL_LENGTHS[0], metadata=allowed(words=SMALL_LENGTHS))
    shop: str | None = None
    guessed: tuple[str, ...] = ()


class Rank(StrEnum):
    """What a seat is for: locating first, second, third, a stop, or a nest between neighbouring parts."""

    PRIMARY = "primary"
    SECONDARY = "secondary"
    TERTIARY = "tertiary"
    STOP = "stop"
    NEST = "nest"


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class BodySeat:
    """A seat stated with its body, in `seats`: one line of a list.

    Parameters
    ----------
    face : str
        The body's face that seats. Equipment of several bodies names the body, too: `vee_left.base`.
    on, on_face : str
        The body that it seats on, and the face there. A `nest` of a gang leaves `on` out: it is on the one
        before.
    rank : str
        As in `[[seat]]`. Left out, they are primary, secondary and tertiary in their order.
    min_share : float
        Share of the smaller of the two faces that must touch for `go`.
    gap_mm : float
        How far off the other face this one stands. With a gap it is no seat: it only says where the body
        stands.
    """

    face: str
    on: str | None = None
    on_face: str
    rank: str | None = field(default=None, metadata=allowed(words=Rank))
    min_share: float = field(default=0.5, metadata=allowed(0.0, 1.0))
    gap_mm: float = field(default=0.0, metadata=allowed(-1000.0, 1000.0))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


@dataclass(frozen=True, slots=True, kw_only=True)
class EquipmentEntry:
    """A piece of the shop's equipment; `fixturecheck shop equipment` lists the kinds.

    Parameters
    ----------
    kind : str
        The kind, as the shop lists it.
    name : str
        What it is called here. Its bodies are called `name`, or `name_left` and so on where it has several.
    at : tuple of float
        Where its origin goes: x, y, z in mm, or in inches where the set-up's units are. Leave it out where
        `seats` say where it stands.
    rotate : list of turns
        Turns about the machine's axes before it is moved, in their order: `[["z", 90]]`, or one: `["z", 90]`.
    seats : list of tables
        Faces that it stands on and goes up to, best first: it is placed by them.
    along_mm : float or list of float
        Where its seats let it slide: how far the middle of its first seat is from the middle of the face that
        it lies on, toward +X, +Y or +Z. One number for each slide.
    turn_deg : float
        Where its seats let it turn: how far it is turned from the way it is drawn.
    fastened : bool
        Whether bolts or clamps that are not drawn hold it to the machine.
    params : table
        Its sizes and options, as the shop lists them; what is left out takes the shop's.
    """

    kind: str
    name: str
    at: tuple[float, ...] = field(default=(0.0, 0.0, 0.0), metadata=allowed(PLACE_MM.least, PLACE_MM.most))
    rotate: Any = ()
    seats: Any = ()
    along_mm: Any = field(default=None, metadata=allowed(PLACE_MM.least, PLACE_MM.most))
    turn_deg: float | None = field(default=None, metadata=allowed(-360.0, 360.0))
    fastened: bool = False
    params: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyEntry:
    """A part, or a fixture of your own, whose solid is in a STEP or BREP file.

    Parameters
    ----------
    name : str
        Unique in the set-up; letters, digits, `_` and `-`, at most 60.
    file : str
        The STEP or BREP file, counted from the set-up's folder.
    state : str
        In the set-up of an operation of a job: this is the job's part as it is `before` or `after` the
        operation. Its file and what is left out come from the job.
    solid : str or int
        The solid meant in a file of several: its name, or its number from 1.
    at : tuple of float
        Where its origin goes: x, y, z in mm, or in inches where the set-up's units are. Left out, the body
        is placed by its seats; one without seats stands as it is drawn.
    rotate : list of turns
        Turns about the machine's axes before it is moved, in their order: `[["z", 90]]`, or one: `["z", 90]`.
    seats : list of tables
        Faces that it stands on and goes up to, best first: it is placed by them.
    along_mm : float or list of float
        Where its seats let it slide: how far the middle of its first seat is from the middle of the face that
        it lies on, toward +X, +Y or +Z. One number for each slide.
    turn_deg : float
        Where its seats let it turn: how far it is turned from the way it is drawn.
    count : int
        How many like parts a gang has: they are called `NAME_1`, `NAME_2` and so on, and `NAME` where all are
        meant. Seats of rank `stop` are those of the first.
    against : str
        The face of the part before that each next part of a gang lands on with its face that the first has on
        its stop.
    pitch : str
        `nest`: each next part stands where its seat of rank `nest` puts it; the same where it is left out.
    pitch_mm : float
        In place of a nest: how much further each next part stands, away from the stop.
    role : str
        `part` for what is ground, `fixture` for what holds it.
    material : str
        A material; `fixturecheck shop materials` lists them.
    faces : table
        A name for each face that matters: `{near = [x, y, z]}` (the face nearest a point, in the body's own
        frame), `{select = ">Z"}` (a CadQuery selector), `{step = "NAME"}` (its name in the file), or a list
        of these. Names in the file are taken over as they are.
    finish : str or table
        One finish for all faces, or one for each by name, `"*"` for the rest; `fixturecheck shop finishes`.
    tolerance_mm : float or table
        Profile tolerance of all faces, or by name: the whole width of the zone, in which a face shifts and
        leans.
    orientation_mm : float or table
        Parallel or square within this, inside that zone; 0 leaves the shift alone.
    no_function : list of str
        Faces that do nothing, where a relief is allowed.
    pole : str
        For a pole piece of a magnet of your own.
    group : str
        A name that bodies share that are one piece of equipment.
    fastened : bool
        Whether bolts or clamps that are not drawn hold this fixture to the machine.
    """

    name: str
    file: str
    state: str | None = field(default=None, metadata=allowed(words=STATES))
    solid: str | int | None = field(default=None, metadata={})
    at: tuple[float, ...] = field(default=(0.0, 0.0, 0.0), metadata=allowed(PLACE_MM.least, PLACE_MM.most))
    rotate: Any = ()
    seats: Any = ()
    along_mm: Any = field(default=None, metadata=allowed(PLACE_MM.least, PLACE_MM.most))
    turn_deg: float | None = field(default=None, metadata=allowed(-360.0, 360.0))
    count: int | None = field(default=None, metadata=allowed(1, MOST_COUNT))
    against: str | None = None
    pitch: str | None = field(default=None, metadata=allowed(words=PITCHES))
    pitch_mm: float | None = field(default=None, metadata=allowed(0.01, PLACE_MM.most))
    role: str = field(default=BodyRole.PART, metadata=allowed(words=BodyRole))
    material: str = field(
        default="steel_1018",
        metadata=allowed(matters="its weight, how a magnet holds it, friction, the cutting force"),
    )
    faces: Mapping[str, Any] = field(default_factory=dict)
    finish: str | Mapping[str, str] | None = None
    tolerance_mm: float | Mapping[str, float] | None = field(
        default=None, metadata=allowed(ZONE_MM.least, ZONE_MM.most)
    )
    orientation_mm: float | Mapping[str, float] | None = field(
        default=None, metadata=allowed(LEAN_MM.least, LEAN_MM.most)
    )
    no_function: tuple[str, ...] = ()
    pole: str | None = field(default=None, metadata=allowed(words=PoleSign))
    group: str | None = None
    fastened: bool = False


class CutWay(StrEnum):
    """How the wheel covers a floor: at one Y position, or stepping in Y."""

    PLUNGE = "plunge"
    TRAVERSE = "traverse"


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """An intended contact: `face` of `body` is meant to lie on `on_face` of `on`.

    Parameters
    ----------
    body, face : str
        The body that is put in place, and its face that seats.
    on, on_face : str
        The body that it seats on, and the face there.
    rank : str
        `primary`, `secondary`, `tertiary`, `stop` or `nest`; a nest is between neighbouring parts.
    min_share : float
        Share of the smaller of the two faces that must touch for `go`.
    """

    body: str
    face: str
    on: str
    on_face: str
    rank: str = field(
        default=Rank.PRIMARY, metadata=allowed(words=Rank, matters="which seats locate the part first")
    )
    min_share: float = field(
        default=0.5, metadata=allowed(0.0, 1.0, matters="how much of the face must touch for a go")
    )
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)

    @property
    def own(self) -> FaceRef:
        """The face that seats."""
        return FaceRef.of(self.body, self.face)

    @property
    def other(self) -> FaceRef:
        """The face that it seats on."""
        return FaceRef.of(self.on, self.on_face)


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """One grinding cut, over one part or a gang.

    Parameters
    ----------
    name : str
        What the cut is called; letters, digits, `_` and `-`.
    parts : tuple of str
        The parts that are ground in this cut, all in the same passes.
    floor : str
        Name of the horizontal target face on each part.
    wall : str or None
        Name of the vertical target face, ground with the side of the wheel.
    stock_mm, wall_stock_mm : float
        What is left on floor and wall for this cut; the drawn part is the finished one.
    downfeed_mm : float
        Depth of one pass.
    wall_feed_mm : float or None
        Feed into the wall in one pass; its force grows in proportion. None takes the downfeed, or all that
        is left on the wall where that is less.
    table_speed_m_min : float
        Speed of the traverse.
    cross_feed_mm : float
        Step in Y between passes when traversing; ignored by a plunge.
    feed_shift_mm : float
        How far the wheel runs off the middle of the floor toward +Y; for a cut without a wall.
    way : str
        `plunge` (one Y position) or `traverse` (stepping in Y until the floor is covered).
    overtravel_mm : float
        Travel past the floor at both ends, measured from where the wheel is fully clear of it.
    rpm : float or None
        Spindle speed; None takes the machine's.
    """

    name: str
    parts: tuple[str, ...]
    floor: str
    wall: str | None = None
    stock_mm: float = field(
        default=0.2,
        metadata=allowed(
            1e-4, 20.0, or_zero=True, matters="what is ground away, the path of the wheel, daylight"
        ),
    )
    wall_stock_mm: float = field(
        default=0.0,
        metadata=allowed(1e-4, 20.0, or_zero=True, matters="what is ground off the wall, side pressure"),
    )
    downfeed_mm: float = field(
        default=0.01, metadata=allowed(1e-4, 20.0, matters="the cutting force, and so the hold and the crash")
    )
    wall_feed_mm: float | None = field(
        default=None, metadata=allowed(1e-4, 20.0, matters="the side force on the wall")
    )
    table_speed_m_min: float = field(
        default=12.0,
        metadata=allowed(0.001, 100.0, matters="the cutting force, and so the hold and the crash"),
    )
    cross_feed_mm: float = field(
        default=2.0,
        metadata=allowed(
            0.001, 300.0, matters="the cutting force, and how far the wheel runs over the edges"
        ),
    )
    feed_shift_mm: float = field(default=0.0, metadata=allowed(-300.0, 300.0))
    way: str = field(
        default=CutWay.PLUNGE,
        metadata=allowed(words=CutWay, matters="whether the wheel covers a floor wider than itself"),
    )
    overtravel_mm: float = field(
        default=10.0,
        metadata=allowed(
            0.01, 2000.0, or_zero=True, matters="travel of the table, what the wheel must clear"
        ),
    )
    rpm: float | None = field(
        default=None, metadata=allowed(1.0, 100000.0, matters="speed of the wheel in this cut")
    )
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)

    def __post_init__(self) -> None:
        """Take a list of parts as a tuple, so that the cut can be hashed."""
        stated: object = self.parts
        if isinstance(stated, list):
            object.__setattr__(self, "parts", tuple(stated))


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """The surface grinder: travels, speed, and what turns with or covers the wheel.

    Parameters
    ----------
    travel_x_mm, travel_y_mm : float
        Table traverse and cross feed.
    daylight_mm : float
        From table to the lowest point of a new wheel at the top of its travel.
    table_z_mm : float or None
        Height of the table in the frame of the set-up; nothing may stand lower. None is the lowest point
        of what stands there.
    rpm : float
        Spindle speed.
    sparks : str
        `left` or `right`: the way the wheel's lowest point moves.
    least_clearance_mm : float
        Clearance between anything that moves with the wheel and anything that does not, below which
        the check cautions.
    downfeed, cross_feed : Handwheel or None
        The two feeds with their dials or read-outs; without a downfeed nothing is asked of dials.
    """

    travel_x_mm: float = field(
        default=450.0, metadata=allowed(1.0, 10000.0, matters="whether the table reaches")
    )
    travel_y_mm: float = field(
        default=150.0, metadata=allowed(1.0, 10000.0, matters="whether the cross feed reaches")
    )
    daylight_mm: float = field(
        default=300.0, metadata=allowed(1.0, 10000.0, matters="whether the work goes under the wheel")
    )
    table_z_mm: float | None = field(
        default=None, metadata=allowed(-10000.0, 10000.0, matters="how high the work stands")
    )
    rpm: float = field(
        default=2850.0, metadata=allowed(1.0, 100000.0, matters="speed of the wheel, cutting force")
    )
    sparks: str = field(
        default=Sparks.RIGHT, metadata=allowed(words=Sparks, matters="which way the wheel pulls the parts")
    )
    least_clearance_mm: float = field(
        default=1.0, metadata=allowed(0.001, 100.0, or_zero=True, matters="when a clearance is a caution")
    )
    flange: Flange = field(default_factory=Flange)
    guard: Guard | None = field(default_factory=Guard)
    downfeed: Handwheel | None = None
    cross_feed: Handwheel | None = None
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Relieving:
    """What is asked of a relief.

    Parameters
    ----------
    clearance_mm : float
        Air wanted between the relief and what it clears, beyond what tolerances take.
    min_wall_mm : float
        Thinnest wall that a relief may leave; zero asks nothing.
    kinds : tuple of str
        Reliefs that the shop makes, those wanted most first: `chamfer`, `fillet` (a rounded edge),
        `undercut` (a step milled along an outside edge), `groove` (into an inside corner), `setback` (a
        whole flat face taken back).
    """

    clearance_mm: float = field(default=0.0, metadata=allowed(0.0, 10.0))
    min_wall_mm: float = field(default=0.0, metadata=allowed(0.0, 1000.0))
    kinds: tuple[str, ...] = field(default=tuple(ReliefKind), metadata=allowed(words=ReliefKind))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


_FACES_EACH = 2


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class OverRolls:
    """A size of a part that is measured over or between rolls.

    Parameters
    ----------
    name : str
        What it is called.
    part : str
        The part that is measured.
    roll_mm : float
        Diameter of each roll.
    roll_on : tuple of str
        The two flat faces of the part that a roll lies on.
    second_roll_on : tuple of str
        The two that a second roll of the same diameter lies on; none measures to a face.
    to : str or None
        Where there is one roll, the flat face of the part that its far side is measured from.
    roll_error_um : float
        How far the diameter of a roll may be off, either way.
    """

    name: str
    part: str
    roll_mm: float = field(metadata=allowed(0.1, 200.0))
    roll_on: tuple[str, ...] = ()
    second_roll_on: tuple[str, ...] = ()
    to: str | None = None
    roll_error_um: float = field(
        default=1.0, metadata=allowed(0.01, 100.0, or_zero=True, matters="what is read over rolls")
    )
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)

    @property
    def lies_on(self) -> tuple[tuple[str, ...], ...]:
        """The faces of each roll."""
        return (self.roll_on, self.second_roll_on) if self.second_roll_on else (self.roll_on,)


def refuse_bad_rolls(setup: Setup) -> None:
    """Raise for what is stated of measuring over rolls that cannot be.

    Parameters
    ----------
    setup : Setup

    Raises
    ------
    SetupError
        Every mistake, each with what to do.
    """
    wrong = Mistakes()
    for one in setup.over_rolls:
        with wrong.noted(), about("over_rolls", one.name):
            allowed_name(one.name, f"over_rolls {one.name!r}")
        with wrong.noted(), about("over_rolls", one.name):
            _refuse_bad(setup, one)
    wrong.raise_any()


def _refuse_bad(setup: Setup, one: OverRolls) -> None:
    where = f"over_rolls {one.name!r}"
    parts = [b.name for b in setup.bodies if b.role == BodyRole.PART]
    if one.part not in parts:
        raise SetupError(f"{where}, part: no part is named {one.part!r}; {nearest(one.part, parts)}")
    for key, faces in (("roll_on", one.roll_on), ("second_roll_on", one.second_roll_on)):
        if len(set(faces)) != _FACES_EACH and (faces or key == "roll_on"):
            raise SetupError(
                f"{where}, {key}: a roll lies on two faces, like ['flank', 'floor']; got {list(faces)}"
            )
    if bool(one.second_roll_on) == (one.to is not None):
        raise SetupError(
            f"{where}: state second_roll_on, or the face that one roll is measured to, as to = 'base'"
        )
    body = setup.body(one.part)
    for face in (*one.roll_on, *one.second_roll_on, *((one.to,) if one.to else ())):
        if not body.face_indices(face):
            ref = FaceRef.of(one.part, face)
            raise SetupError(f"{where}: there is no face {str(ref)!r}; {nearest(face, body.faces)}")
