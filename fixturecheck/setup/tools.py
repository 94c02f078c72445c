"""What the user states of a drill, a tap or an end mill: its sizes, its holder, and what it makes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from fixturecheck.drilling import thread_of
from fixturecheck.errors import SetupError, about
from fixturecheck.fields import HIDDEN, allowed, recorded
from fixturecheck.names import nearest
from fixturecheck.setup.holding import CUTS_AS, MOST_HELIX_DEG, Milling, MillWay
from fixturecheck.setup.records import BodyRole

if TYPE_CHECKING:
    from fixturecheck.setup.model import Setup


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Drilling:
    """One hole that is drilled in each of some parts, the drill coming down along Z.

    Parameters
    ----------
    name : str
        What it is called.
    parts : tuple of str
        The parts that it is drilled in.
    hole : str
        Name of the round face of the hole on each part.
    drill_mm : float or None
        Diameter of the drill; None is that of the hole as drawn.
    point_deg : float
        Included angle of its point.
    flute_mm : float
        Length of its flutes from the tip.
    stick_out_mm : float
        How far its tip stands out of the chuck or collet nut.
    nut_mm, nut_long_mm : float
        Diameter and length of the chuck or collet nut.
    nose_mm : float
        Diameter of what turns above the nut.
    spot_deg : float or None
        Included angle of the spot drill that goes first; None drills without one.
    seat_mm : float or None
        Diameter of the flat seat that an end mill makes first; None starts on the part as it is.
    breaks_through_mm : float
        How far the full diameter goes out of the other side of a through hole.
    thread : str or None
        The thread that is tapped in it, such as `M6` or `u1_4_20`; None taps nothing.
    thread_mm : float or None
        Depth of full thread; None is the whole of a through hole.
    drilled : bool
        Whether the hole is there already, so that nothing but the tap goes in; in a job that is known.
    lead_pitches : float
        How many threads the chamfer of the tap takes.
    tap_stick_out_mm, spot_stick_out_mm : float or None
        How far tap and spot drill stand out of their holders; None is as far as the drill.
    spot_mm : float or None
        Diameter of the spot drill; None is that of the drill.
    daylight_mm : float or None
        From the table to the nose of the raised spindle; None does not ask whether the tool goes in.
    feed_mm : float or None
        Feed in one turn of the drill, of which it pushes and turns its part; None takes all that handbooks
        give for its diameter, as a hand on the lever may.
    cuts_as : str
        Class of the material in the table of milling.
    """

    name: str
    parts: tuple[str, ...]
    hole: str
    drill_mm: float | None = field(default=None, metadata=allowed(0.05, 100.0))
    point_deg: float = field(
        default=118.0, metadata=allowed(60.0, 180.0, matters="how far the tip goes below the hole")
    )
    flute_mm: float = field(metadata=allowed(0.1, 1000.0))
    stick_out_mm: float = field(metadata=allowed(0.1, 1000.0))
    nut_mm: float = field(default=40.0, metadata=allowed(1.0, 300.0, matters="whether the chuck clears"))
    nut_long_mm: float = field(default=60.0, metadata=allowed(1.0, 500.0, matters="whether the nose clears"))
    nose_mm: float = field(default=80.0, metadata=allowed(1.0, 500.0, matters="whether the nose clears"))
    spot_deg: float | None = field(default=None, metadata=allowed(60.0, 150.0))
    seat_mm: float | None = field(default=None, metadata=allowed(0.1, 100.0))
    breaks_through_mm: float = field(
        default=1.0, metadata=allowed(0.0, 50.0, matters="whether the drill meets what lies below")
    )
    thread: str | None = None
    thread_mm: float | None = field(default=None, metadata=allowed(0.1, 500.0))
    drilled: bool = False
    lead_pitches: float = field(
        default=4.0, metadata=allowed(0.5, 12.0, matters="how much deeper than its thread a hole must be")
    )
    tap_stick_out_mm: float | None = field(default=None, metadata=allowed(0.1, 1000.0))
    spot_stick_out_mm: float | None = field(default=None, metadata=allowed(0.1, 1000.0))
    spot_mm: float | None = field(default=None, metadata=allowed(0.05, 100.0))
    daylight_mm: float | None = field(default=None, metadata=allowed(1.0, 3000.0))
    feed_mm: float | None = field(
        default=None, metadata=allowed(0.001, 5.0, matters="thrust and torque of the drill")
    )
    cuts_as: str = field(
        default="soft_steel", metadata=allowed(words=CUTS_AS, matters="thrust and torque of the drill")
    )
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)

    @property
    def longest_out_mm(self) -> float:
        """How far the longest of its tools stands out of its holder."""
        taps = self.tap_stick_out_mm or self.stick_out_mm
        spots = self.spot_stick_out_mm or 0.0
        return taps if self.drilled else max(self.stick_out_mm, spots, taps if self.thread else 0.0)


def refuse_bad_words_of_drill(drill: Drilling) -> None:
    """Refuse what cannot be, whatever the parts: an unknown thread, a tool longer than the daylight.

    Parameters
    ----------
    drill : Drilling
        As stated.

    Raises
    ------
    SetupError
        Says what, and what to state.
    """
    where = f"drill {drill.name!r}"
    if drill.thread is not None:
        try:
            thread_of(drill.thread)
        except SetupError as reason:
            raise SetupError(f"{where}: {reason}") from reason
    elif drill.thread_mm is not None:
        raise SetupError(f"{where}: thread_mm is stated without a thread; name the thread")
    elif drill.tap_stick_out_mm is not None:
        raise SetupError(f"{where}: tap_stick_out_mm is stated without a thread; name the thread")
    if drill.drilled and (drill.thread is None or drill.spot_deg is not None or drill.seat_mm is not None):
        raise SetupError(
            f"{where}: drilled says that it is tapped only; name its thread, and no spot_deg or seat_mm"
        )
    spots = [n for n in ("spot_mm", "spot_stick_out_mm") if getattr(drill, n) is not None]
    if spots and drill.spot_deg is None:
        raise SetupError(f"{where}: {spots[0]} is stated without spot_deg; state the angle of the spot drill")
    long_mm = drill.longest_out_mm + drill.nut_long_mm
    if drill.daylight_mm is not None and long_mm >= drill.daylight_mm:
        raise SetupError(
            f"{where}: drill and nut are {long_mm:g} mm long, and the raised spindle leaves "
            f"{drill.daylight_mm:g} mm over the table; take a shorter drill or holder"
        )


def refuse_bad_drills(setup: Setup) -> None:
    """Refuse drills whose parts or holes are not there.

    Parameters
    ----------
    setup : Setup
        With bodies that are sound and named once.

    Raises
    ------
    SetupError
        Names what is not there, and the nearest that is.
    """
    for drill in setup.drills:
        with about("drill", drill.name):
            refuse_bad_words_of_drill(drill)
            where = f"drill {drill.name!r}"
            _refuse_unknown_faces(setup, where, drill.parts, (drill.hole,), "drilled")


def _refuse_unknown_faces(
    setup: Setup, where: str, parts: Sequence[str], faces: Sequence[str], done: str
) -> None:
    """Refuse a cut into parts that are not there, or without a face that it names.

    `where` says whose names they are and `done` what is done to the parts, as the message has them.
    """
    names = [b.name for b in setup.bodies if b.role == BodyRole.PART]
    if isinstance(parts, str):
        raise SetupError(f"{where}, parts: state a list, like [{parts!r}]; got {parts!r}")
    if not parts:
        raise SetupError(f"{where}: name the parts that are {done}")
    for part in parts:
        if part not in names:
            raise SetupError(f"{where}: no part is named {part!r}; {nearest(part, names)}")
        body = setup.body(part)
        for face in faces:
            if not body.face_indices(face):
                raise SetupError(f"{where}: {part} has no face {face!r}; {nearest(face, body.faces)}")


class CutterShape(StrEnum):
    """What the end of a cutter looks like."""

    SQUARE = "square"
    BULL = "bull"
    BALL = "ball"
    TAPERED = "tapered"


class CutterMove(StrEnum):
    """How a cutter goes."""

    PLUNGE = "plunge"
    LINE = "line"
    ARC = "arc"
    RAMP = "ramp"
    HELIX = "helix"
    SLOT = "slot"
    POCKET = "pocket"
    CONTOUR = "contour"


OVER_FACE = frozenset({CutterMove.SLOT, CutterMove.POCKET, CutterMove.CONTOUR})
"""Moves that are worked out from a level face of each part."""

DESCENDING = frozenset({CutterMove.RAMP, CutterMove.HELIX})
"""Moves that go down as they go along, and at their lowest height once more over all their way."""

_POINTS = {
    CutterMove.PLUNGE: (1, 1),
    CutterMove.LINE: (2, 500),
    CutterMove.ARC: (3, 3),
    CutterMove.RAMP: (2, 500),
    CutterMove.HELIX: (1, 1),
}
"""How many points the other moves have, at least and at most."""


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class MillMove:
    """One move of an end mill.

    Parameters
    ----------
    kind : str
        `plunge` (straight down at a point), `line` (through points), `arc` (from the first of three points
        through the second to the third), `ramp` (through points, down evenly), `helix` (round a point, down
        evenly), or worked out from a level face of each part: `slot` (once along its middle), `pocket` (all
        over it, beside the walls first) or `contour` (once along its walls). A ramp goes over its points once
        more at its lowest height and a helix once more round: without that a slope is left on the floor.
    face : str or None
        The level face, of a slot, pocket or contour. Of a line, arc, ramp or helix, the one that it cuts,
        which the cutting force is looked at over.
    at_mm : tuple of (float, float)
        X and Y of the points of the other moves, in the machine's frame; of a helix, its centre.
    z_mm : float or None
        Height of the tip, the lowest; None is that of the face.
    from_z_mm : float or None
        Height of the tip at which a ramp or helix begins.
    radius_mm : float or None
        Of the circle that the axis of the cutter goes round on a helix.
    pitch_mm : float or None
        How far down a helix goes in one round.
    step_mm : float or None
        From one round of a pocket to the next; None is half of the cutter's flat, or a tenth of the diameter
        of a cutter without one.
    leave_mm : float
        What is left on the walls beside a slot, pocket or contour.
    """

    kind: str = field(metadata=allowed(words=CutterMove))
    face: str | None = None
    at_mm: tuple[tuple[float, float], ...] = field(default=(), metadata=allowed(-10000.0, 10000.0))
    z_mm: float | None = field(default=None, metadata=allowed(-10000.0, 10000.0))
    from_z_mm: float | None = field(default=None, metadata=allowed(-10000.0, 10000.0))
    radius_mm: float | None = field(default=None, metadata=allowed(0.01, 1000.0))
    pitch_mm: float | None = field(default=None, metadata=allowed(0.001, 100.0))
    step_mm: float | None = field(default=None, metadata=allowed(0.01, 200.0))
    leave_mm: float = field(default=0.0, metadata=allowed(0.0, 50.0, matters="what is left on the walls"))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class EndMilling:
    """One run of an end mill over some parts, its spindle along Z.

    Parameters
    ----------
    name : str
        What it is called.
    parts : tuple of str
        The parts that it cuts.
    makes : tuple of str
        The faces that it makes on each of them.
    moves : tuple of MillMove
        Where it goes, in order; each is one list entry `[[end_mill.moves]]`.
    stock_mm : float or None
        What stands on each face that it makes, which is then flat; None makes a pocket, slot or step of them,
        which is full before.
    shape : str
        `square`, `bull` (a square one with rounded corners), `ball` or `tapered`.
    diameter_mm : float
        Of its flutes; of a tapered one at its tip.
    corner_mm : float
        Radius of the corners of a bull-nosed or tapered one.
    taper_deg : float
        Of a tapered one, from its axis to its side.
    flute_mm : float
        Length of its flutes from the tip.
    shank_mm : float or None
        Diameter of what is above the flutes; None is that of the flutes at their upper end. A T-slot cutter
        is a square one whose shank, its neck, is thinner than its flutes.
    stick_out_mm : float
        How far its tip stands out of the chuck or collet nut.
    nut_mm, nut_long_mm : float
        Diameter and length of the chuck or collet nut.
    nose_mm : float
        Diameter of what turns above the nut.
    daylight_mm : float or None
        From the table to the nose of the raised spindle; None does not ask whether the tool goes in.
    most_lead_deg : float
        The steepest that it may go down on a ramp or helix.
    teeth : int or None
        Number of teeth. With `feed_mm_tooth` and `deep_mm` the parts are held against its cutting force over
        the face of every move, as by a `[[mill]]` for each; a plunge, a ramp and a helix push down besides,
        and a pocket or slot shut in on all sides, with none of them stated, is gone straight into.
    feed_mm_tooth, deep_mm : float or None
        Feed for each tooth, and how deep each pass goes.
    wide_mm : float or None
        How wide it cuts; None is the whole cutter, as a slot and the first round of a pocket cut.
    way : str
        `climb`, `conventional`, `centred` or `any`, as of a `[[mill]]`.
    helix_deg : float or None
        Angle of its flutes; None takes what cutters are sold with.
    cuts_as : str
        Class of the material in the table of milling.
    """

    name: str
    parts: tuple[str, ...]
    makes: tuple[str, ...]
    moves: tuple[MillMove, ...]
    stock_mm: float | None = field(default=None, metadata=allowed(0.001, 100.0))
    shape: str = field(
        default=CutterShape.SQUARE, metadata=allowed(words=CutterShape, matters="what it leaves in corners")
    )
    diameter_mm: float = field(metadata=allowed(0.05, 200.0))
    corner_mm: float = field(default=0.0, metadata=allowed(0.0, 100.0, matters="what it leaves in corners"))
    taper_deg: float = field(default=0.0, metadata=allowed(0.0, 45.0, matters="how its walls stand"))
    flute_mm: float = field(metadata=allowed(0.1, 1000.0))
    shank_mm: float | None = field(default=None, metadata=allowed(0.05, 200.0))
    stick_out_mm: float = field(metadata=allowed(0.1, 1000.0))
    nut_mm: float = field(default=40.0, metadata=allowed(1.0, 300.0, matters="whether the nut clears"))
    nut_long_mm: float = field(default=60.0, metadata=allowed(1.0, 500.0, matters="whether the nose clears"))
    nose_mm: float = field(default=80.0, metadata=allowed(1.0, 500.0, matters="whether the nose clears"))
    daylight_mm: float | None = field(default=None, metadata=allowed(1.0, 3000.0))
    most_lead_deg: float = field(
        default=3.0, metadata=allowed(0.1, 90.0, matters="how steeply the cutter may go down")
    )
    teeth: int | None = field(default=None, metadata=allowed(1, 100))
    feed_mm_tooth: float | None = field(default=None, metadata=allowed(1e-4, 5.0))
    deep_mm: float | None = field(default=None, metadata=allowed(0.001, 300.0))
    wide_mm: float | None = field(default=None, metadata=allowed(0.001, 500.0))
    way: str = field(
        default=MillWay.ANY, metadata=allowed(words=MillWay, matters="which way the cutter pushes the parts")
    )
    helix_deg: float | None = field(
        default=None, metadata=allowed(0.0, MOST_HELIX_DEG, matters="how hard the cutter lifts the parts")
    )
    cuts_as: str = field(default="soft_steel", metadata=allowed(words=CUTS_AS, matters="the cutting force"))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)

    @property
    def corner_radius_mm(self) -> float:
        """Radius between its end and its side."""
        return 0.5 * self.diameter_mm if self.shape == CutterShape.BALL else self.corner_mm

    @property
    def neck_radius_mm(self) -> float | None:
        """Radius of its shank where that is thinner than its flutes, as of a T-slot cutter."""
        thin = self.shank_mm is not None and self.shank_mm < self.diameter_mm
        return 0.5 * self.shank_mm if thin and self.shank_mm is not None else None


def milling_loads(run: EndMilling) -> tuple[Milling, ...]:
    """Return the milling cuts that a run loads its parts with, one for each face that its moves go over.

    Parameters
    ----------
    run : EndMilling
        The run as stated.

    Returns
    -------
    tuple of Milling
        None where teeth, feed and depth are not stated.
    """
    if run.teeth is None or run.feed_mm_tooth is None or run.deep_mm is None:
        return ()
    cut = tuple(dict.fromkeys(move.face for move in run.moves if move.face is not None))
    return tuple(
        Milling(
            name=run.name if len(cut) == 1 else f"{run.name} {face}",
            parts=run.parts,
            face=face,
            cutter_mm=run.diameter_mm,
            teeth=run.teeth,
            deep_mm=run.deep_mm,
            wide_mm=run.wide_mm if run.wide_mm is not None else run.diameter_mm,
            feed_mm_tooth=run.feed_mm_tooth,
            cuts_as=run.cuts_as,
            way=run.way,
            helix_deg=run.helix_deg,
            corner_mm=run.corner_radius_mm,
            taper_deg=run.taper_deg,
            head_mm=None if run.neck_radius_mm is None else run.flute_mm,
            neck_mm=0.0 if run.neck_radius_mm is None else 2.0 * run.neck_radius_mm,
            of_run=True,
        )
        for face in cut
    )


def loads_by_plunging(run: EndMilling) -> bool:
    """Say whether a run plunges and states what its parts are then loaded with.

    Parameters
    ----------
    run : EndMilling
        A run of an end mill.

    Returns
    -------
    bool
        False too where the teeth or the feed of a tooth are not stated.
    """
    stated = run.teeth is not None and run.feed_mm_tooth is not None
    return stated and any(move.kind == CutterMove.PLUNGE for move in run.moves)


def refuse_bad_words_of_end_mill(run: EndMilling) -> None:
    """Refuse what cannot be, whatever the parts: sizes that make no cutter, moves without a place.

    Parameters
    ----------
    run : EndMilling
        The run as stated.

    Raises
    ------
    SetupError
        Says what, and what to state.
    """
    for flaw in (*_flaws_of_cutter(run), *(flaw for move in run.moves for flaw in _flaws_of_move(move))):
        raise SetupError(f"end_mill {run.name!r}: {flaw}")


def _flaws_of_cutter(run: EndMilling) -> Iterator[str]:
    """Yield what is wrong with the cutter and its holder."""
    radius, cornered = 0.5 * run.diameter_mm, {CutterShape.BULL, CutterShape.TAPERED}
    if run.shape == CutterShape.BULL and not 0.0 < run.corner_mm < radius:
        yield f"state corner_mm, above 0 and below {radius:g}, half of its diameter"
    if run.shape not in cornered and run.corner_mm > 0.0:
        yield f"a {run.shape} cutter has no corner_mm; leave it out, or state shape 'bull'"
    if run.corner_mm > radius:
        yield f"corner_mm {run.corner_mm:g} is more than {radius:g}, half of its diameter"
    if (run.shape == CutterShape.TAPERED) != (run.taper_deg > 0.0):
        yield "state taper_deg above 0 for a tapered cutter, and for no other"
    if run.flute_mm > run.stick_out_mm:
        yield f"flute_mm {run.flute_mm:g} is more than the {run.stick_out_mm:g} that it stands out"
    if run.flute_mm < run.corner_radius_mm:
        yield f"flute_mm {run.flute_mm:g} ends below the corner of {run.corner_radius_mm:g}"
    long_mm = run.stick_out_mm + run.nut_long_mm
    if run.daylight_mm is not None and long_mm >= run.daylight_mm:
        yield (
            f"cutter and nut are {long_mm:g} mm long, and the raised spindle leaves {run.daylight_mm:g} mm "
            "over the table; take a shorter cutter or holder"
        )
    yield from _flaws_of_loads(run)
    if not run.moves:
        yield "state its moves, like [[end_mill.moves]] kind = 'pocket'"
    if not run.makes:
        yield "state makes, the faces that it makes"


def _flaws_of_loads(run: EndMilling) -> Iterator[str]:
    """Yield what is wrong with what is stated of its cutting force."""
    loads = {"teeth": run.teeth, "feed_mm_tooth": run.feed_mm_tooth, "deep_mm": run.deep_mm}
    if run.moves and all(m.kind == CutterMove.PLUNGE for m in run.moves):
        loads.pop("deep_mm")
    lacking = [name for name, value in loads.items() if value is None]
    if 0 < len(lacking) < len(loads):
        yield f"state {' and '.join(lacking)}, too: the cutting force asks for all of {', '.join(loads)}"
    if lacking:
        return
    free = [m.kind for m in run.moves if m.face is None and m.kind != CutterMove.PLUNGE]
    if free:
        yield f"teeth load the parts over the face that each move cuts; state the face of its {free[0]}"
    if run.wide_mm is None:
        return
    if run.wide_mm > run.diameter_mm:
        yield f"wide_mm {run.wide_mm:g} is more than its diameter {run.diameter_mm:g}"
    whole = [m.kind for m in run.moves if m.kind in {CutterMove.SLOT, CutterMove.POCKET, *DESCENDING}]
    if whole and run.wide_mm < run.diameter_mm:
        yield f"a {whole[0]} cuts as wide as the cutter, so leave wide_mm out"


def _flaws_of_move(move: MillMove) -> Iterator[str]:
    """Yield what is wrong with a move by itself."""
    if move.kind in OVER_FACE:
        if move.face is None:
            yield f"a {move.kind} needs face, the level face that it goes over"
        if move.at_mm:
            yield f"a {move.kind} is worked out from its face; leave at_mm out"
    yield from _flaws_of_way_down(move)
    if move.kind in OVER_FACE:
        return
    least, most = _POINTS.get(CutterMove(move.kind), (1, 1))
    if not least <= len(move.at_mm) <= most:
        yield f"at_mm of a {move.kind} holds {least} point{'s' if least > 1 else ''}, like [[10, 5]]"
    if move.z_mm is None:
        yield f"a {move.kind} needs z_mm, the height of the tip"
    if move.face is not None and move.kind == CutterMove.PLUNGE:
        yield "a plunge goes where at_mm says; leave face out"


def _flaws_of_way_down(move: MillMove) -> Iterator[str]:
    """Yield what is wrong with how a ramp or helix goes down, or with what is stated of one that does not."""
    descends = {"from_z_mm": (move.from_z_mm, DESCENDING)}
    descends |= {n: (getattr(move, n), frozenset({CutterMove.HELIX})) for n in ("radius_mm", "pitch_mm")}
    for name, (value, kinds) in descends.items():
        if value is not None and move.kind not in kinds:
            yield f"{name} is of a {' or '.join(sorted(kinds))}; leave it out of a {move.kind}"
    if move.kind in DESCENDING and (move.from_z_mm is None or move.from_z_mm <= (move.z_mm or 0.0)):
        yield f"a {move.kind} needs from_z_mm, the height of the tip where it begins, above z_mm"
    if move.kind == CutterMove.HELIX and (move.radius_mm is None or move.pitch_mm is None):
        yield "a helix needs radius_mm, of the circle of its axis, and pitch_mm, down in one round"
    if move.kind == CutterMove.RAMP and len(set(move.at_mm)) < min(2, len(move.at_mm)):
        yield "a ramp needs points that lie apart"


def refuse_bad_end_mills(setup: Setup) -> None:
    """Refuse runs whose parts or faces are not there.

    Parameters
    ----------
    setup : Setup
        The set-up.

    Raises
    ------
    SetupError
        Names what is not there, and the nearest that is.
    """
    taken = [c.name for c in setup.cuts]
    for run in setup.end_mills:
        with about("end_mill", run.name):
            refuse_bad_words_of_end_mill(run)
            if run.name in taken:
                raise SetupError(f"end_mill {run.name!r}: another cut has this name; give each its own")
            taken.append(run.name)
            makes: object = run.makes
            if isinstance(makes, str):
                raise SetupError(
                    f"end_mill {run.name!r}, makes: state a list, like [{makes!r}]; got {makes!r}"
                )
            faces = (*run.makes, *(m.face for m in run.moves if m.face))
            _refuse_unknown_faces(setup, f"end_mill {run.name!r}", run.parts, faces, "cut")
