"""What is measured over rolls: sizes of a part that no gauge reaches otherwise, as between slanted flanks."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fixturecheck.errors import Mistakes, SetupError, about
from fixturecheck.faceref import FaceRef
from fixturecheck.fields import HIDDEN, allowed, recorded
from fixturecheck.names import allowed_name, nearest
from fixturecheck.setup.records import BodyRole

if TYPE_CHECKING:
    from fixturecheck.setup.model import Setup

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
        message = f"{where}, part: no part is named {one.part!r}; {nearest(one.part, parts)}"
        raise SetupError(message)
    for key, faces in (("roll_on", one.roll_on), ("second_roll_on", one.second_roll_on)):
        if len(set(faces)) != _FACES_EACH and (faces or key == "roll_on"):
            message = f"{where}, {key}: a roll lies on two faces, like ['flank', 'floor']; got {list(faces)}"
            raise SetupError(message)
    if bool(one.second_roll_on) == (one.to is not None):
        message = f"{where}: state second_roll_on, or the face that one roll is measured to, as to = 'base'"
        raise SetupError(message)
    body = setup.body(one.part)
    for face in (*one.roll_on, *one.second_roll_on, *((one.to,) if one.to else ())):
        if not body.face_indices(face):
            ref = FaceRef.of(one.part, face)
            message = f"{where}: there is no face {str(ref)!r}; {nearest(face, body.faces)}"
            raise SetupError(message)
