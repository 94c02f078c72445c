"""What the user states of a drilled hole: the drill, its holder, how it starts, and the thread in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fixturecheck.drilling.numbers import thread_of
from fixturecheck.errors import SetupError, about
from fixturecheck.fields import HIDDEN, allowed, recorded
from fixturecheck.names import nearest
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
        Included angle of the spot drill that goes first; None where nothing does.
    seat_mm : float or None
        Diameter of the flat seat that an end mill makes first; None where none is made.
    breaks_through_mm : float
        How far the full diameter goes out of the other side of a through hole.
    thread : str or None
        The thread that is tapped in it, such as `M6` or `u1_4_20`; None where none is.
    thread_mm : float or None
        Depth of full thread; None is the whole of a through hole.
    lead_pitches : float
        How many threads the chamfer of the tap takes.
    daylight_mm : float or None
        From the table to the nose of the raised spindle; None does not ask whether the tool goes in.
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
    lead_pitches: float = field(
        default=4.0, metadata=allowed(0.5, 12.0, matters="how much deeper than its thread a hole must be")
    )
    daylight_mm: float | None = field(default=None, metadata=allowed(1.0, 3000.0))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


def refuse_bad_words_of_drill(drill: Drilling) -> None:
    """Refuse what cannot be, whatever the parts: an unknown thread, a tool longer than the daylight.

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
            message = f"{where}: {reason}"
            raise SetupError(message) from reason
    elif drill.thread_mm is not None:
        message = f"{where}: thread_mm is stated without a thread; name the thread"
        raise SetupError(message)
    long_mm = drill.stick_out_mm + drill.nut_long_mm
    if drill.daylight_mm is not None and long_mm >= drill.daylight_mm:
        message = (
            f"{where}: drill and nut are {long_mm:g} mm long, and the raised spindle leaves "
            f"{drill.daylight_mm:g} mm over the table; take a shorter drill or holder"
        )
        raise SetupError(message)


def refuse_bad_drills(setup: Setup) -> None:
    """Refuse drills whose parts or holes are not there.

    Raises
    ------
    SetupError
        Names what is not there, and the nearest that is.
    """
    for drill in setup.drills:
        with about("drill", drill.name):
            refuse_bad_words_of_drill(drill)
            where = f"drill {drill.name!r}"
            refuse_unknown_faces(setup, where, drill.parts, (drill.hole,), "drilled")


def refuse_unknown_faces(
    setup: Setup, where: str, parts: Sequence[str], faces: Sequence[str], done: str
) -> None:
    """Refuse a cut into parts that are not there, or without a face that it names.

    Parameters
    ----------
    where : str
        Whose names they are, for the message.
    parts, faces : sequence of str
        The parts that are cut, and the faces that each of them must have.
    done : str
        What is done to the parts, such as `drilled`.

    Raises
    ------
    SetupError
        Names what is not there, and the nearest that is.
    """
    names = [b.name for b in setup.bodies if b.role == BodyRole.PART]
    if not parts:
        message = f"{where}: name the parts that are {done}"
        raise SetupError(message)
    for part in parts:
        if part not in names:
            message = f"{where}: no part is named {part!r}; {nearest(part, names)}"
            raise SetupError(message)
        body = setup.body(part)
        for face in faces:
            if not body.face_indices(face):
                message = f"{where}: {part} has no face {face!r}; {nearest(face, body.faces)}"
                raise SetupError(message)
