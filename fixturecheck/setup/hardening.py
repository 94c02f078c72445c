"""How parts are hardened before or after an operation: steel, process, temper, what is left."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from fixturecheck.errors import SetupError
from fixturecheck.fields import HIDDEN, allowed, recorded
from fixturecheck.hardening.steels import hardening_process, refuse_soft_steel
from fixturecheck.interval import Range
from fixturecheck.names import nearest
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.records import ZONE_MM, BodyRole
from fixturecheck.shop import tables

if TYPE_CHECKING:
    from fixturecheck.setup.model import Body, Setup


class HardenedWhen(StrEnum):
    """Whether parts are hardened after this operation, or come to it hard."""

    AFTER = "after"
    BEFORE = "before"


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class FunctionalSize:
    """A size of a part that something else has to fit.

    Parameters
    ----------
    part : str
        The part, or the first name of a gang's.
    face : str
        One of its faces: flat, or a cylinder, whose diameter it then is.
    to : str or None
        The parallel flat face that it is measured to; left out for a diameter.
    tolerance_mm : float
        From the least to the greatest size that fits.
    """

    part: str
    face: str
    to: str | None = None
    tolerance_mm: float = field(metadata=allowed(ZONE_MM.least, ZONE_MM.most))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Hardening:
    """How the parts are hardened.

    Parameters
    ----------
    process : str
        The way to harden: `vacuum_gas`, `vacuum_oil`, `foil_air`, `open_air`, `open_oil` or `salt_oil`.
    steel : str or None
        A steel that hardens, under its name among the materials; None takes the material of each part.
    when : str
        `after`: hardened once this operation is done, so that what it makes grows; `before`: the parts come
        to it hard, and what it grinds had to be left.
    parts : tuple of str
        The parts that are hardened; none named is every part.
    temper_c : float or None
        Tempering temperature; None tempers for `wanted_hrc`, or not at all where that is left out too.
    wanted_hrc : float or tuple of float
        The hardness that is wanted, or its least and greatest.
    growth_share : tuple of float or None
        Least and greatest size change as a share of the size, positive where it grows, where you know it
        better than the table does.
    rolled : Vector or None
        Direction in which the bar was rolled, in the part's own frame; None takes the wider range of both.
    leave_mm : mapping of str to float
        Stock that is left on a face when it is hardened and ground off after, by its name; for `before`,
        that of the cuts is taken where a face is not named here.
    distortion_mm : float or None
        How far the part may bend or twist; None takes the high end of the process.
    clean_up_mm : float or None
        How deep the spoilt surface is; None takes the high end of the process.
    sizes : tuple of FunctionalSize
        Sizes that must fit afterwards, besides the faces that have a tolerance.
    blast : bool
        Whether the parts are blasted clean afterwards.
    plugged : tuple of str
        Round faces of holes that are plugged while the part is blasted.
    test_piece : bool
        Whether a piece of the same bar is hardened with the parts and tested in their place.
    not_marked : tuple of str
        Faces that no hardness test may mark, whatever else is stated of them; in a job those that later
        operations seat by or measure are added.
    demagnetised : bool
        Whether the parts are demagnetised before they go to the furnace.
    """

    process: str
    steel: str | None = None
    when: str = field(default=HardenedWhen.AFTER, metadata=allowed(words=HardenedWhen))
    parts: tuple[str, ...] = ()
    temper_c: float | None = field(default=None, metadata=allowed(20.0, 800.0))
    wanted_hrc: float | tuple[float, ...] | None = field(default=None, metadata=allowed(20.0, 70.0, items=2))
    growth_share: tables.Range | None = field(default=None, metadata=allowed(-0.02, 0.02, items=2))
    rolled: Vector | None = field(default=None, metadata=allowed(-1e6, 1e6, items=3))
    leave_mm: Mapping[str, float] = field(default_factory=dict, metadata=allowed(0.0, 20.0))
    distortion_mm: float | None = field(default=None, metadata=allowed(0.0, 10.0))
    clean_up_mm: float | None = field(default=None, metadata=allowed(0.0, 10.0))
    sizes: tuple[FunctionalSize, ...] = ()
    blast: bool = False
    plugged: tuple[str, ...] = ()
    test_piece: bool = False
    not_marked: tuple[str, ...] = ()
    demagnetised: bool = False
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)

    @property
    def wanted(self) -> Range | None:
        """The hardness that is wanted, HRC, as a range; None where none is stated."""
        if self.wanted_hrc is None:
            return None
        ends = (self.wanted_hrc,) if isinstance(self.wanted_hrc, int | float) else self.wanted_hrc
        return Range(low=min(ends), high=max(ends))

    def steel_of(self, body: Body) -> str:
        """Return the steel of a part."""
        return body.material if self.steel is None else self.steel


def hardened_parts(setup: Setup) -> tuple[Body, ...]:
    """Return the parts that are hardened, in the order stated; none where no hardening is stated.

    Parameters
    ----------
    setup : Setup
        It need not state a hardening.

    Returns
    -------
    tuple of Body
        All parts where the hardening names none.
    """
    hardening = setup.hardening
    if hardening is None:
        return ()
    return tuple(b for b in setup.parts() if not hardening.parts or b.name in hardening.parts)


def refuse_bad_words(hardening: Hardening) -> None:
    """Refuse a process or steel that the tables do not have, and lists of the wrong length.

    Parameters
    ----------
    hardening : Hardening
        As stated.

    Raises
    ------
    SetupError
        Names the value and the nearest that is known.
    """
    try:
        hardening_process(hardening.process)
        if hardening.steel is not None:
            refuse_soft_steel(hardening.steel)
    except SetupError as reason:
        raise SetupError(f"hardening: {reason}") from reason
    for key in ("wanted_hrc", "growth_share"):
        value = getattr(hardening, key)
        if isinstance(value, tuple) and len(value) not in {0, 2}:
            raise SetupError(
                f"hardening, {key}: state the least and the greatest, like [58, 60]; got {len(value)} numbers"
            )
    if hardening.growth_share and hardening.growth_share[0] > hardening.growth_share[1]:
        raise SetupError("hardening, growth_share: the least comes first")
    if hardening.rolled is not None and (len(hardening.rolled) != 3 or not any(hardening.rolled)):
        raise SetupError("hardening, rolled: state a direction of three numbers, not all zero")


def refuse_bad_hardening(setup: Setup) -> None:
    """Refuse a hardening whose parts, faces or steels are not there.

    Parameters
    ----------
    setup : Setup
        With bodies that are sound and named once.

    Raises
    ------
    SetupError
        Names what is not there, and the nearest that is.
    """
    hardening = setup.hardening
    if hardening is None:
        return
    refuse_bad_words(hardening)
    names = [b.name for b in setup.bodies if b.role == BodyRole.PART]
    for name in (*hardening.parts, *(s.part for s in hardening.sizes)):
        if name not in names:
            raise SetupError(f"hardening: no part is named {name!r}; {nearest(name, names)}")
    parts = hardened_parts(setup)
    # With its size change stated, a steel that the table does not have is answered for its sizes.
    for body in () if hardening.growth_share else parts:
        try:
            refuse_soft_steel(hardening.steel_of(body))
        except SetupError as reason:
            raise SetupError(
                f"hardening of {body.name!r}: {reason}; state the steel in [hardening]"
            ) from reason
    for key, face in _faces_named(hardening):
        if not any(b.face_indices(face) for b in parts):
            known = sorted({n for b in parts for n in b.faces})
            raise SetupError(
                f"hardening, {key}: no part that is hardened has a face {face!r}; {nearest(face, known)}"
            )
    _refuse_bad_sizes(setup, hardening)


def _refuse_bad_sizes(setup: Setup, hardening: Hardening) -> None:
    """Refuse sizes between faces that are not there."""
    for size in hardening.sizes:
        body = setup.body(size.part)
        for named in (size.face, size.to):
            if named is not None and not body.face_indices(named):
                raise SetupError(
                    f"hardening, size of {size.part}: it has no face {named!r}; {nearest(named, body.faces)}"
                )


def _faces_named(hardening: Hardening) -> Iterator[tuple[str, str]]:
    for face in hardening.leave_mm:
        if face != "*":
            yield "leave_mm", face
    yield from (("plugged", face) for face in hardening.plugged)
    yield from (("not_marked", face) for face in hardening.not_marked)
