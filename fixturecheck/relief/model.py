"""What a search for reliefs answers: what was relieved and how, what could not be, and the set-up after."""

from __future__ import annotations

from dataclasses import dataclass, field

from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.relief.grooves import Bevel
from fixturecheck.result.rest import Settled
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Setup
from fixturecheck.setup.records import ReliefKind
from fixturecheck.units import METRIC, Writing, angle_text


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clash:
    """One place where two bodies are in each other's way when every seat is closed.

    Parameters
    ----------
    a, b : str
        The bodies.
    faces_a, faces_b : tuple of str
        Names of the faces of each that bound it.
    zone : Shape
        What both would fill, machine's frame, at the intended pose.
    volume_mm3 : float
        Size of the zone.
    zone_b : Shape or None
        For faces that only land within tolerances: what of `b` lies within reach of `a`; `zone` is then
        what of `a` lies within reach of `b`. None where the bodies overlap.
    share_lands : float
        In how many draws they land; one where they overlap as drawn.
    """

    a: str
    b: str
    faces_a: tuple[str, ...]
    faces_b: tuple[str, ...]
    zone: Shape = field(repr=False)
    volume_mm3: float
    zone_b: Shape | None = field(repr=False, default=None)
    share_lands: float = 1.0

    @property
    def lands(self) -> bool:
        """True where the bodies are clear as drawn and only tolerances bring them together."""
        return self.zone_b is not None

    def zone_of(self, body: str) -> Shape:
        """Return what must be taken from one of the bodies."""
        return self.zone_b if self.zone_b is not None and body == self.b else self.zone

    @property
    def key(self) -> tuple[object, ...]:
        """What tells one clash from another: the faces on either side, and whether only tolerances meet."""
        return self.a, self.faces_a, self.b, self.faces_b, self.lands

    @property
    def says(self) -> str:
        """The clash in words: `pawl_2.back+under into pawl_1.step_fillet`."""
        how = "onto" if self.lands else "into"
        return f"{self.a}.{'+'.join(self.faces_a)} {how} {self.b}.{'+'.join(self.faces_b)}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Relief:
    """One relief that was made, and holds when checked again.

    Parameters
    ----------
    bodies : tuple of str
        Every body of the drawing that is changed.
    on : str
        The one of them at the clash.
    kind : str
        One of the kinds of `Relieving`.
    edge : str
        The edge by its faces, `under+back`; the corner or the face that is relieved.
    size_mm : tuple of float
        Leg, radius, the two sizes of a step or a groove, or how far a face is set back.
    clears : str
        The clash in words.
    clear_mm : float
        Air that was asked: wanted clearance and what tolerances take.
    wall_mm : float
        Thinnest wall behind the relief.
    touches : tuple of str
        Faces that became smaller.
    at_mm : Vector
        Middle of the relief in the part's own frame.
    along : Vector
        The direction it runs there.
    bevel : Bevel or None
        The chamfer that is made larger, where a relief does that.
    removed_mm3 : float
        The material that it takes.
    by_hand : bool
        Whether a stone or a file makes it.
    plain : bool
        False for a round edge, and for a cut on the edge of a chamfer.
    clash_at_mm : Vector
        Middle of the clash, in the frame of the part `on`.
    clash_size_mm : float
        Size of the clash seen along the relief.
    rejected : tuple of str
        What does not hold and why, once for each kind.
    marks : str
        Which faces would have to be marked without function for a lesser relief; empty where none would.
    notes : tuple of str
        What the shop must know of it besides its size.
    share_lands : float
        In how many draws within tolerances the faces met before; one where they overlap as drawn.
    line : str
        The line of CadQuery code that makes it, for a part in a variable `part`.
    solid : Solid
        The part as relieved, in its own frame.
    before : Solid
        The part before.
    slope_deg : float
        Angle of a chamfer to either face: 45 on a square edge, and of no meaning for other kinds.
    instead : tuple of str
        Other reliefs that hold as well, in words.
    write : Writing
        What writes its sizes.
    """

    bodies: tuple[str, ...]
    on: str
    kind: str
    edge: str
    size_mm: tuple[float, float]
    clears: str
    clear_mm: float
    wall_mm: float
    touches: tuple[str, ...]
    at_mm: Vector
    along: Vector
    line: str
    solid: Solid = field(repr=False)
    before: Solid = field(repr=False)
    removed_mm3: float
    by_hand: bool
    plain: bool
    clash_at_mm: Vector
    clash_size_mm: float
    bevel: Bevel | None = None
    slope_deg: float = 45.0
    rejected: tuple[str, ...] = ()
    marks: str = ""
    instead: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    share_lands: float = 1.0
    write: Writing = METRIC

    @property
    def says(self) -> str:
        """The relief in words."""
        if self.bevel is not None:
            larger = larger_words(self.bevel, self.size_mm[0], self.write)
            return f"{larger} on {self.edge} of {', '.join(self.bodies)}"
        where = "in the" if self.kind == ReliefKind.GROOVE else "on"
        what = size_words(self.kind, self.size_mm, self.slope_deg, self.write)
        return f"{what} {where} {self.edge} of {', '.join(self.bodies)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """A clash that no relief cures.

    Parameters
    ----------
    clash : str
        The clash in words.
    why : tuple of str
        Why a relief does not hold, once for each kind that was tried, or why there was none to try.
    marks : str
        Which faces would have to be marked without function for a relief; empty where none would help.
    gives : str
        Which face would have to give.
    """

    clash: str
    why: tuple[str, ...]
    gives: str
    marks: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reliefs:
    """What a search for reliefs came to.

    Parameters
    ----------
    setup : Setup
        The set-up with every relief made; the one given where there is none.
    reliefs : tuple of Relief
        In the order they were made.
    refused : tuple of Refused
        Clashes left.
    rest_before, rest_after : Settled or None
        Where the parts rest before and after; None where no staging is stated.
    missing : tuple of str
        What could not be computed, and why.
    """

    setup: Setup
    reliefs: tuple[Relief, ...]
    refused: tuple[Refused, ...]
    rest_before: Settled | None = None
    rest_after: Settled | None = None
    missing: tuple[str, ...] = ()

    @property
    def solids(self) -> dict[str, Solid]:
        """The new solid of every body that was changed, in its own frame."""
        return {name: self.setup.body(name).solid for r in self.reliefs for name in r.bodies}

    @property
    def cured(self) -> bool:
        """True where nothing is left in the way and nothing is unknown."""
        return not self.refused and not self.missing


def larger_words(bevel: Bevel, deeper_mm: float, write: Writing) -> str:
    """Return in words how much larger a chamfer is made whose face goes back by a length."""
    now = _size(bevel.leg_after(deeper_mm), write)
    was = write.length(bevel.leg_mm, ".2f")
    return f"{now} {write.name('mm')} x {angle_text(bevel.slope_deg)} chamfer instead of {was}"


def size_words(kind: str, size_mm: tuple[float, float], slope_deg: float, write: Writing) -> str:
    """Return a relief's kind and size in words; a chamfer's with its angle to either face."""
    (one, two), unit = (_size(v, write) for v in size_mm), write.name("mm")
    if kind == ReliefKind.CHAMFER:
        return f"{one} {unit} x {angle_text(slope_deg)} chamfer"
    if kind in {ReliefKind.FILLET, ReliefKind.SETBACK}:
        return f"{one} {unit} {kind}"
    return f"{one} x {two} {unit} {kind}"


def _size(value_mm: float, write: Writing) -> str:
    """Return a length in mm with two decimals, or with as many more as it has, up to four."""
    if abs(round(value_mm, 2) - value_mm) < 5e-5:
        return write.number(value_mm, "mm", ".2f", "up")
    return write.number(value_mm, "mm", ".4f", "up").rstrip("0")
