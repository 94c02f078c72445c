"""Which set-up is proposed for a part: every way to stand, on every kind of equipment asked for, ranked."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from fixturecheck.errors import SetupError
from fixturecheck.names import nearest
from fixturecheck.setup.records import Machine
from fixturecheck.start.in_vee import ANGLE_DEG, in_vee
from fixturecheck.start.in_vise import in_vise
from fixturecheck.start.layout import Because, FirstSetup
from fixturecheck.start.on_chuck import on_chuck
from fixturecheck.start.part import Part, Plane, Round
from fixturecheck.start.standing import (
    LowRim,
    Posed,
    Stance,
    best,
    flat_stances,
    gripped_stances,
    poses,
    rim_stances,
    shut_in_mm,
    vee_stances,
)
from fixturecheck.wording.proposals import (
    ON_A_RIM,
    floor_words,
    in_jaws_words,
    on_a_plane_words,
    on_a_round_words,
    on_two_planes_words,
    other_way_words,
)

FLAT_CHUCK, V_BLOCK, VISE = "flat_chuck", "v_block", "vise"

_LAID_OUT: Mapping[str, Callable[[Part, Posed, int], FirstSetup]] = {
    FLAT_CHUCK: on_chuck,
    V_BLOCK: in_vee,
    VISE: in_vise,
}

_MOST_TOLD = 6
_MOST_TRIED = 24
"""Other ways that are told, and ways that are laid out until one fits."""

TALLEST_MM = Machine().daylight_mm
"""How tall a part may stand: what is under the raised wheel of the machine that a set-up starts from."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Way:
    """One way to grind a part: on what, how it is posed there, and whether the part is in the wheel's way."""

    on: str
    posed: Posed
    shut_in: bool


def propose(part: Part, *, on: str | None = None, count: int = 1, floor: str | None = None) -> FirstSetup:
    """Return the set-up proposed for a part.

    Parameters
    ----------
    part : Part
        The part that is ground.
    on : str, optional
        `flat_chuck`, `v_block` or `vise`; the best of the first two where it is left out.
    count : int
        Copies of the part in a row.
    floor : str, optional
        Name of the face to grind, as in the file or by number, `face_3`; the best where it is left out.

    Returns
    -------
    FirstSetup
        With why it stands so, and what else was tried.

    Raises
    ------
    SetupError
        It can neither stand nor lie, nothing level can be ground, or it does not fit.
    """
    target = _floor_named(part, floor) if floor is not None else None
    kinds = (on,) if on else (FLAT_CHUCK, V_BLOCK)
    stances = [(kind, stance) for kind in kinds for stance in _stances(part, kind)]
    rims = [(FLAT_CHUCK, stance) for stance in (rim_stances(part) if FLAT_CHUCK in kinds else ())]
    refused: list[tuple[_Way, SetupError]] = []
    # Then what nothing flat carries, which no magnet holds; last a face that the part itself shuts in, which
    # is a no-go that shows what is in the way; not for a gang that finds no room, whose reason that is.
    for group, shut_in in ((stances, False), (rims, False), (stances, True)):
        if shut_in and target is None and count > 1 and refused:
            break
        ways = _ranked(part, group, target, shut_in)
        for way in ways[:_MOST_TRIED]:
            try:
                _refuse_tall(part, way)
                found = _LAID_OUT[way.on](part, way.posed, count)
            except SetupError as reason:
                refused.append((way, reason))
                continue
            return replace(found, because=(*_because(part, found, way, ways, refused), *found.because))
        if len(ways) > _MOST_TRIED:
            refused.append(
                (ways[_MOST_TRIED], SetupError(f"{len(ways) - _MOST_TRIED} further ways were not tried"))
            )
    raise SetupError(_no_way(part, kinds, floor, bool(stances or rims), refused))


def _refuse_tall(part: Part, way: _Way) -> None:
    """Refuse a way in which the part stands taller than a machine takes.

    Raises
    ------
    SetupError
        It does.
    """
    heights = part.points @ way.posed.turn[2]
    tall_mm = float(heights.max() - heights.min())
    if tall_mm > TALLEST_MM:
        raise SetupError(f"{part.name} would stand {tall_mm:.4g} mm tall; a machine takes {TALLEST_MM:g} mm")


def _ranked(part: Part, stances: list[tuple[str, Stance]], target: Plane | None, shut_in: bool) -> list[_Way]:
    """Return the ways to grind a part that stands in some ways, the best first."""
    ways = [
        _Way(on=kind, posed=posed, shut_in=shut_in)
        for kind, stance in stances
        for posed in poses(part, stance, target, shut_in=shut_in)
    ]
    place = {id(posed): n for n, posed in enumerate(best([way.posed for way in ways]))}
    return sorted(ways, key=lambda way: place[id(way.posed)])


def _stances(part: Part, kind: str) -> Iterator[Stance]:
    if kind == V_BLOCK:
        yield from vee_stances(part, ANGLE_DEG)
    else:
        yield from gripped_stances(part) if kind == VISE else flat_stances(part)


def _floor_named(part: Part, name: str) -> Plane:
    """Return the plane that a face of some name lies in.

    Raises
    ------
    SetupError
        No face has the name, or it is not flat.
    """
    faces = part.body.face_indices(name)
    if not faces:
        known = [*part.body.faces, *(n for n in part.body.face_names() if n not in part.body.faces)]
        raise SetupError(f"--floor {name}: {part.file.name} has no face {name!r}; {nearest(name, known)}")
    for plane in part.planes:
        if set(faces) <= set(plane.faces):
            return plane
    raise SetupError(f"--floor {name}: the face is not flat, or is several that lie at several heights")


def _no_way(
    part: Part,
    kinds: tuple[str, ...],
    floor: str | None,
    stands: bool,
    refused: list[tuple[_Way, SetupError]],
) -> str:
    """Return why a part cannot be set up, as one line."""
    if refused:
        return str(refused[0][1])
    return _nothing_to_grind(part, kinds, floor) if stands else _cannot_stand(part, kinds)


def _cannot_stand(part: Part, kinds: tuple[str, ...]) -> str:
    if not part.planes and not part.rounds:
        return f"{part.file.name} has no flat face and no cylinder: nothing to stand on or to grind flat"
    if kinds == (VISE,):
        return f"{part.file.name} has no flat face to be set down on between the jaws of a vise"
    where = {FLAT_CHUCK: "stand on a chuck", V_BLOCK: "lie in a V-block", VISE: "stand in a vise"}
    what = " or ".join(where[kind] for kind in kinds)
    return (
        f"{part.file.name} cannot {what}: all of the part lies behind {sum(p.outer for p in part.planes)} of "
        f"its {len(part.planes)} flat faces, and its weight lies over none of them"
    )


def _nothing_to_grind(part: Part, kinds: tuple[str, ...], floor: str | None) -> str:
    if floor is not None:
        return (
            f"--floor {floor}: the face does not lie level in any way that "
            f"{part.name} stands on {' or '.join(kinds)}"
        )
    return (
        f"{part.file.name} stands, but no flat face then lies level; state the set-up by hand, on an angle "
        "block for instance"
    )


def _because(
    part: Part, found: FirstSetup, way: _Way, ways: list[_Way], refused: list[tuple[_Way, SetupError]]
) -> Iterator[Because]:
    """Yield why it stands so, and what else was possible."""
    posed = way.posed
    stance = posed.stance
    yield Because(choice=f"on {way.on}", reason=_standing_said(stance))
    yield Because(
        choice=f"grind {found.floor}",
        reason=floor_words(
            posed.floor.area_mm2,
            shut_in_mm(part, posed) if way.shut_in else None,
            wall=posed.wall is not None,
        ),
    )
    seen = {_key(way)}
    for other, reason in refused:
        if _key(other) not in seen:
            seen.add(_key(other))
            yield Because(choice=_other_said(part, other), reason=str(reason))
    for other in ways:
        if _key(other) in seen or len(seen) > _MOST_TOLD:
            continue
        seen.add(_key(other))
        yield Because(
            choice=_other_said(part, other),
            reason=other_way_words(_standing_said(other.posed.stance), other.posed.floor.area_mm2),
        )


def _key(way: _Way) -> tuple[object, ...]:
    """Return what tells a way from others, whichever way it is turned."""
    return way.on, id(way.posed.floor), *map(id, way.posed.stance.on)


def _other_said(part: Part, way: _Way) -> str:
    return f"or on {way.on}, grinding {_named(part, way.posed.floor)}"


def _named(part: Part, plane: Plane) -> str:
    return part.body.face_names()[plane.faces[0]]


def _standing_said(stance: Stance) -> str:
    if len(stance.on) == 2:
        return on_two_planes_words(stance.bears_mm2)
    on = stance.on[0]
    if isinstance(on, LowRim):
        return ON_A_RIM
    if isinstance(on, Round):
        return on_a_round_words(on.radius_mm)
    if math.isinf(stance.steady_share):
        return in_jaws_words(stance.bears_mm2)
    return on_a_plane_words(stance.bears_mm2, stance.margin_mm, stance.height_mm)
