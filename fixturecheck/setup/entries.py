"""What may be stated in the tables that become solids: the head, equipment and bodies, with their keys."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fixturecheck.fields import HIDDEN, Allowed, allowed, recorded
from fixturecheck.setup.records import RANKS
from fixturecheck.units import SMALL_LENGTHS, UNITS

ROLES = ("part", "fixture")
POLES = ("n", "s")

ZONE_MM = Allowed(least=1e-5, most=100.0)
"""Width of a tolerance zone."""

LEAN_MM = Allowed(least=0.0, most=10.0)
"""Width of an orientation zone; zero only shifts."""

PLACE_MM = Allowed(least=-10_000.0, most=10_000.0)
TURN_DEG = Allowed(least=-36_000.0, most=36_000.0)
MOST_TURNS = 50
MOST_SELECTOR = 300
MOST_ENTRIES = 1000
MOST_COUNT = 500
PITCHES = ("nest",)
"""How many turns, letters of a name and of a selector, and entries of one kind a set-up may have; parts of a
gang, and the words for the distance between them."""


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
    """

    name: str | None = None
    units: str = field(default="mm", metadata=allowed(words=UNITS))
    small_lengths: str = field(default=SMALL_LENGTHS[0], metadata=allowed(words=SMALL_LENGTHS))
    shop: str | None = None


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
    rank: str | None = field(default=None, metadata=allowed(words=RANKS))
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
    role: str = field(default="part", metadata=allowed(words=ROLES))
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
    pole: str | None = field(default=None, metadata=allowed(words=POLES))
    group: str | None = None
    fastened: bool = False
