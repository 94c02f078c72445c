"""The set-up as stated: frozen values that every later step reads and none changes."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Mapping
from copy import copy
from dataclasses import MISSING, dataclass, field, fields, replace
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

import numpy as np
from scipy.spatial.transform import Rotation

from fixturecheck.angles.incline import Incline
from fixturecheck.errors import SetupError
from fixturecheck.fields import HIDDEN, recorded
from fixturecheck.kernel.brep.topology import canonical_order, one_of_each
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.place import composed, matrix_of, placed_at
from fixturecheck.kernel.shapes import Location, Placed, Solid
from fixturecheck.names import BY_PLACE
from fixturecheck.numeric import to_vector
from fixturecheck.result import Source
from fixturecheck.result.finding import Origin
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.dials import Dials, Squaring, Transfer
from fixturecheck.setup.document import Guess
from fixturecheck.setup.hardening import Hardening
from fixturecheck.setup.holding import Clamp, Holding, Milling
from fixturecheck.setup.records import BodyRole, Cut, Machine, OverRolls, Relieving, Seat
from fixturecheck.setup.staging import Staging
from fixturecheck.setup.tools import Drilling, EndMilling, loads_by_plunging, milling_loads
from fixturecheck.setup.validate import all_of, refuse_bad
from fixturecheck.shop.tables import Own, among_ours, refuse_bad_own
from fixturecheck.shop.wheels import Wheel
from fixturecheck.tolerances import Tolerances
from fixturecheck.units import SMALL_LENGTHS, Writing, shown_in

__all__ = ["Body", "Cut", "Machine", "Seat", "Setup", "among_its_own"]

P = ParamSpec("P")
T = TypeVar("T")


@recorded
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """One solid of the set-up, drawn in its own frame and placed in the machine's.

    Parameters
    ----------
    name : str
        Unique in the set-up; letters, digits, `_` and `-`.
    solid : Solid
        The solid in its own frame, mm.
    at : Location
        Where it stands in the machine's frame.
    role : str
        `part` for what is ground, `fixture` for what holds it.
    material : str
        A name from the materials table.
    faces : mapping of str to tuple of int
        Named faces as indices into `faces_of(solid)`; a name may cover several faces.
    unclear : mapping of str to tuple of str
        Face names that may not be used, since the file's names that they could mean are on other faces.
    finish : mapping of str to str
        Finish by face name; `*` is the rest.
    tolerance_mm : mapping of str to float
        Profile tolerance by face name, the whole width of the zone; `*` is the rest. A flat face may shift
        and lean as long as no corner of it leaves its zone.
    orientation_mm : mapping of str to float
        Orientation tolerance by face name (parallelism, squareness, angularity), within that zone: how much
        the face may lean over its outline; zero only shifts. `*` is the rest. A face without one leans as
        far as its zone lets it.
    no_function : frozenset of str
        Faces that do nothing, where a relief is allowed.
    pole : str or None
        `n` or `s` for a magnet's pole piece.
    poles : tuple of Body
        Pole pieces set in the solid and flush with it, drawn in its frame. Parts touch the solid; only
        the magnet tells its poles apart.
    inclines : tuple of Incline
        The slopes that the shop's sine plate or angle block makes, that of the lowest hinge first.
    group : str or None
        The piece of equipment that the body belongs to.
    fastened : bool
        Screwed or clamped where it is drawn by something that is not: it stands whatever it touches.
    source : Source or None
        The file that the solid was read from.
    says_unit : bool
        Whether that file says what unit its lengths are in.
    by_seats : bool
        Whether its seats say where it stands, and nothing else.
    shop_sizes : mapping of str to float, int or str
        Parameters of the piece of equipment that were not stated; only on the first of its bodies.
    """

    name: str
    solid: Solid
    at: Location = field(default_factory=Location)
    role: str = BodyRole.PART
    material: str = "steel_1018"
    faces: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    unclear: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    finish: Mapping[str, str] = field(default_factory=dict)
    tolerance_mm: Mapping[str, float] = field(default_factory=dict)
    orientation_mm: Mapping[str, float] = field(default_factory=dict)
    no_function: frozenset[str] = frozenset()
    pole: str | None = None
    poles: tuple[Body, ...] = ()
    inclines: tuple[Incline, ...] = ()
    group: str | None = None
    fastened: bool = False
    source: Source | None = None
    says_unit: bool = True
    by_seats: bool = False
    shop_sizes: Mapping[str, float | int | str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse one value where a value for each face is expected: `body` takes one for all."""
        for key in ("finish", "tolerance_mm", "orientation_mm"):
            value = getattr(self, key)
            if not isinstance(value, Mapping):
                raise SetupError(
                    f'body {self.name!r}: {key} holds a value by face, as {{"*": {value!r}}} for all'
                )

    stated: frozenset[str] = field(default=frozenset(), repr=False, metadata=HIDDEN)

    def placed(self) -> Placed:
        """Return the solid with its names where it stands."""
        return Placed(name=self.name, solid=self.solid, face_names=tuple(self.face_names()), at=self.at)

    def pose(self) -> tuple[Vector, Vector, float]:
        """Return where its origin stands and how it is turned.

        Returns
        -------
        tuple
            Place of the origin, mm; the unit axis of the turn; its angle, degrees.
        """
        matrix = matrix_of(self.at)
        turn = np.asarray(Rotation.from_matrix(matrix[:3, :3]).as_rotvec())
        angle_rad = float(np.linalg.norm(turn))
        axis = turn / angle_rad if angle_rad > 0.0 else np.array([0.0, 0.0, 1.0])
        # Zeros are written without a sign.
        origin, about = (to_vector(v.round(9) + 0.0) for v in (matrix[:3, 3], axis))
        return origin, about, math.degrees(angle_rad)

    def zone_mm(self, face: str) -> float | None:
        """Return the width of the zone stated for a face, by its name or for all; None without one."""
        return self.tolerance_mm.get(face, self.tolerance_mm.get("*"))

    def finish_of(self, face: str) -> str | None:
        """Return the finish stated for a face, by its name or for all; None without one."""
        return self.finish.get(face, self.finish.get("*"))

    def face_indices(self, name: str) -> tuple[int, ...]:
        """Return the faces of one name as indices in kernel order; empty where no face has it."""
        if name in self.faces or not BY_PLACE.fullmatch(name):
            return tuple(self.faces.get(name, ()))
        return tuple(i for i, found in enumerate(self.face_names()) if found == name)

    def stated_of_faces(self, kept: Collection[str]) -> dict[str, Any]:
        """Return finish, tolerance and orientation, by their fields, of those faces only that are kept."""
        stated = {
            "finish": self.finish,
            "tolerance_mm": self.tolerance_mm,
            "orientation_mm": self.orientation_mm,
        }
        return {field: {n: v for n, v in of.items() if n in kept} for field, of in stated.items()}

    def face_names(self) -> list[str]:
        """Return a name for every face in kernel order: the given one, or `face_<n>` by place."""
        given = {i: name for name, indices in self.faces.items() for i in indices}
        order = canonical_order(self.solid)
        names = [""] * len(order)
        for rank, index in enumerate(order, start=1):
            names[index] = given.get(index, f"face_{rank}")
        return names

    def why_unclear(self, name: str) -> str:
        """Say which faces of the file an unclear name could mean, and how to say which one is meant."""
        raws = self.unclear[name]
        how = f"name the face meant in the faces of {self.name!r}, like NAME = {{ step = {raws[0]!r} }}"
        if len(raws) > 1:
            return f"{name!r} could be the face {' or '.join(map(repr, raws))} of the file; {how}"
        return (
            f"the file calls a face of {self.name!r} {raws[0]!r}, but {name!r} here is the one numbered so "
            f"by its place; {how}"
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Setup:
    """Everything that is known about one operation before the first cut; validated when it is made.

    Parameters
    ----------
    name : str
        What the operation is called in reports.
    bodies : sequence of Body
        Everything that is there, in the order stated; lists are taken as tuples.
    seats : sequence of Seat
        Contacts that are meant, primary first.
    cuts : sequence of Cut
        What is ground, in order.
    drills : sequence of Drilling
        Holes that are drilled and tapped.
    end_mills : sequence of EndMilling
        Runs of end mills.
    units : str
        `mm` or `inch`: what reports show. The numbers in here are always in the units of their names.
    small_lengths : str
        `as units`, or `thou`: what reports show lengths below a tenth of an inch in.
    severity : mapping of str to str
        By a check's name, what its no-go counts as.
    sources : tuple of Source
        The files that it was read from.
    staging : Staging or None
        How parts are put in place; None does not ask where they come to rest.
    relief : Relieving
        What is asked of a relief.
    holding : Holding or None
        What holds the parts while they are ground; None does not ask whether it holds.
    hardening : Hardening or None
        How the parts are hardened before or after; None where they are not.
    transfers : sequence of Transfer
        Datums taken from a stop by an edge finder.
    over_rolls : sequence of OverRolls
        Sizes that are measured over rolls.
    squared : sequence of Squaring
        What was set parallel to the travel, and how closely.
    dials : Dials or None
        How the dials are zeroed and the cuts fed; None takes the usual way where the machine has dials.
    guessed : tuple of Guess
        Stated values that nobody has confirmed.
    own : Own
        Materials and finishes of the user's own, looked up among the shop's.
    origins : mapping of tuple of str to Origin
        Where what it states stands in files; see `setup.outline`.

    Raises
    ------
    SetupError
        Something stated cannot be checked: a name that names nothing, a number that is none, a solid
        that is not closed. The message says which, and what to do.
    """

    name: str
    bodies: tuple[Body, ...]
    seats: tuple[Seat, ...] = ()
    cuts: tuple[Cut, ...] = ()
    drills: tuple[Drilling, ...] = ()
    end_mills: tuple[EndMilling, ...] = ()
    machine: Machine = field(default_factory=Machine)
    wheel: Wheel = field(default_factory=Wheel)
    units: str = "mm"
    small_lengths: str = SMALL_LENGTHS[0]
    severity: Mapping[str, str] = field(default_factory=dict)
    tolerances: Tolerances = field(default_factory=Tolerances)
    sources: tuple[Source, ...] = ()
    staging: Staging | None = None
    relief: Relieving = field(default_factory=Relieving)
    holding: Holding | None = None
    hardening: Hardening | None = None
    transfers: tuple[Transfer, ...] = ()
    over_rolls: tuple[OverRolls, ...] = ()
    squared: tuple[Squaring, ...] = ()
    dials: Dials | None = None
    guessed: tuple[Guess, ...] = ()
    own: Own = field(default_factory=Own)
    origins: Mapping[tuple[str, ...], Origin] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        """Refuse what cannot be checked, so that a bad set-up never exists."""
        kinds = {
            "bodies": Body,
            "seats": Seat,
            "cuts": Cut,
            "drills": Drilling,
            "end_mills": EndMilling,
            "sources": Source,
            "transfers": Transfer,
            "over_rolls": OverRolls,
            "squared": Squaring,
        }
        for name, kind in kinds.items():
            object.__setattr__(self, name, all_of(getattr(self, name), kind, name))
        with among_ours(self.own):
            refuse_bad_own(self.own)
            refuse_bad(self)

    @property
    def write(self) -> Writing:
        """What writes the quantities of its sentences, in its units."""
        return Writing(units=self.shown_in)

    @property
    def shown_in(self) -> str:
        """What reports write lengths in: `mm`, `inch`, or `thou` for inches and thousandths."""
        return shown_in(self.units, self.small_lengths)

    @property
    def clamps(self) -> tuple[Clamp, ...]:
        """Vises, straps and toes; none where no holding is stated."""
        return self.holding.clamps if self.holding else ()

    @property
    def mills(self) -> tuple[Milling, ...]:
        """Milling cuts that the parts are held against: as stated, and of the end mills that state teeth."""
        if self.holding is None:
            return ()
        return (*self.holding.milling, *(mill for run in self.end_mills for mill in milling_loads(run)))

    @property
    def unloaded(self) -> tuple[tuple[str, EndMilling], ...]:
        """Each part that an end mill runs over and is loaded with nothing for, by what is stated."""
        if self.holding is None:
            return ()
        milled = {part for mill in self.holding.milling for part in mill.parts}
        silent = (r for r in self.end_mills if not milling_loads(r) and not loads_by_plunging(r))
        return tuple((part, run) for run in silent for part in run.parts if part not in milled)

    @property
    def loads_parts(self) -> bool:
        """Whether anything cuts that the parts can be held against."""
        plunges = any(loads_by_plunging(run) for run in self.end_mills)
        return bool(self.cuts or self.mills or self.drills or plunges)

    @property
    def table_z_mm(self) -> float:
        """Height of the table: as stated, else the lowest point of what is set on it."""
        if self.machine.table_z_mm is not None:
            return self.machine.table_z_mm
        return min(box_of(placed_at(b.solid, b.at))[2] for b in self.bodies)

    def body(self, name: str) -> Body:
        """Return the body of that name.

        Raises
        ------
        SetupError
            No body has the name.
        """
        for body in self.bodies:
            if body.name == name:
                return body
        known = ", ".join(sorted(b.name for b in self.bodies))
        raise SetupError(f"no body is named {name!r}; the set-up has {known}")

    def without(self, names: Collection[str]) -> Setup:
        """Return the set-up without some fixtures and what is stated about them.

        Raises
        ------
        SetupError
            What is left cannot be checked.
        """
        if not names:
            return self
        holding, staging = self.holding, self.staging
        if holding is not None:
            left = None if holding.blocking is None else tuple(n for n in holding.blocking if n not in names)
            clamps = tuple(c for c in holding.clamps if c.body not in names)
            holding = replace(holding, blocking=left, clamps=clamps)
        if staging is not None:
            staging = replace(
                staging,
                loose=tuple(n for n in staging.loose if n not in names),
                order=tuple(n for n in staging.order if n not in names),
                push={n: p for n, p in staging.push.items() if n not in names},
                pull_n={n: p for n, p in staging.pull_n.items() if n not in names},
                press=tuple(p for p in staging.press if p.part not in names),
            )
        return replace(
            self,
            bodies=tuple(b for b in self.bodies if b.name not in names),
            seats=tuple(s for s in self.seats if s.body not in names and s.on not in names),
            holding=holding,
            staging=staging,
        )

    def parts(self) -> Iterable[Body]:
        """Return the bodies that are ground, in the order stated."""
        return (b for b in self.bodies if b.role == BodyRole.PART)

    def poles(self) -> tuple[Body, ...]:
        """Return every pole piece where it stands; one that is set in a body has that body as its group."""
        inner = [replace(p, at=composed(b.at, p.at), group=b.name) for b in self.bodies for p in b.poles]
        return (*(b for b in self.bodies if b.pole), *inner)


def among_its_own(function: Callable[Concatenate[Setup, P], T]) -> Callable[Concatenate[Setup, P], T]:
    """Let a function that takes a set-up look the set-up's own materials and finishes up among the shop's.

    Parameters
    ----------
    function : callable
        Takes a set-up first.

    Returns
    -------
    callable
        Takes and returns what the function does; the set-up is given by position.
    """

    @wraps(function)
    def run(setup: Setup, /, *args: P.args, **kwargs: P.kwargs) -> T:
        with among_ours(setup.own):
            return function(setup, *args, **kwargs)

    return run


def unstated(setup: Setup, names: Collection[str]) -> Setup:
    """Return a set-up in which some fields are as if they had not been stated; it is not validated again.

    Parameters
    ----------
    setup : Setup
        Left as it is.
    names : collection of str
        Fields that have a default.

    Returns
    -------
    Setup
        A copy, with the defaults in those fields.
    """
    bare = copy(setup)
    for one in fields(Setup):
        if one.name in names:
            made = one.default_factory
            value = one.default if made is MISSING else made()
            object.__setattr__(bare, one.name, value)
    return bare


def read_from(setup: Setup, sources: tuple[Source, ...], origins: Mapping[tuple[str, ...], Origin]) -> Setup:
    """Return a set-up that says where it is stated; nothing that could be refused changes by that.

    Parameters
    ----------
    setup : Setup
        A set-up that is sound; left as it is.
    sources : tuple of Source
        The files that it was read from.
    origins : mapping of tuple of str to Origin
        Where what it states stands in them; see `setup.outline`.

    Returns
    -------
    Setup
        A copy.
    """
    told = copy(setup)
    object.__setattr__(told, "sources", sources)
    object.__setattr__(told, "origins", origins)
    return told


_OF_MAGNET = frozenset({"name", "bodies", "seats", "holding", "own", "units", "small_lengths"})


def magnet_alone(setup: Setup, of: str | None = None) -> Setup:
    """Return a set-up as if nothing but its magnet were there: poles, the seats on them, how it holds.

    It is not validated again.

    Parameters
    ----------
    setup : Setup
        Left as it is.
    of : str, optional
        The equipment, or the body with poles set in it, whose poles are meant; all without.

    Returns
    -------
    Setup
        Of the bodies, only those that are poles or have poles set in them.
    """
    bare = unstated(setup, {one.name for one in fields(Setup)} - _OF_MAGNET)
    bodies = tuple(b for b in setup.bodies if b.pole or b.poles)
    bodies = bodies if of is None else tuple(b for b in bodies if of in (b.name, b.group))
    names = {b.name for b in bodies} | {b.group for b in bodies if b.group}
    names |= {pole.name for b in bodies for pole in b.poles}
    seats = tuple(s for s in setup.seats if s.on in names)
    for key, value in (("bodies", bodies), ("seats", seats)):
        object.__setattr__(bare, key, value)
    return bare


def drawings_of(setup: Setup) -> dict[str, str]:
    """Return for each body the name of the first one drawn alike with the same role.

    Parameters
    ----------
    setup : Setup
        Left as it is.

    Returns
    -------
    dict of str to str
        By the name of the body: its role and the name of the first, as `part pawl_1`.
    """
    bodies = setup.bodies
    first = one_of_each([b.solid for b in bodies])
    return {b.name: f"{b.role} {bodies[i].name}" for b, i in zip(bodies, first, strict=True)}


def together(setup: Setup, name: str) -> tuple[str, ...]:
    """Return the bodies of the same piece of equipment, the named one included.

    Parameters
    ----------
    setup : Setup
        The bodies and the groups that they belong to.
    name : str
        Name of a body.

    Returns
    -------
    tuple of str
        In the set-up's order; the body alone where it has no group.
    """
    group = setup.body(name).group
    return tuple(b.name for b in setup.bodies if b.name == name or (group is not None and b.group == group))


def is_loose(setup: Setup, name: str) -> bool:
    """Tell whether a body is a block, parallel or stop of its own: no part, no magnet, of one piece.

    A chuck, V-block or vise is of several pieces, or has poles; it is not changed for one job.

    Parameters
    ----------
    setup : Setup
        The bodies and the groups that they belong to.
    name : str
        Name of a body.

    Returns
    -------
    bool
        False of every part and of every body of a magnet.
    """
    body = setup.body(name)
    return (
        body.role == BodyRole.FIXTURE
        and body.pole is None
        and not body.poles
        and len(together(setup, name)) == 1
    )
