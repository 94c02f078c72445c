"""Which bodies carry flux, by which curve, and how much of each pole the parts can feel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.boolean import common
from fixturecheck.kernel.brep.topology import edges_of, faces_of, solids_of
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.measure import box_of, edge_ends, face_frame, volume_mm3
from fixturecheck.kernel.place import placed_at, translation
from fixturecheck.kernel.select import by_plane
from fixturecheck.kernel.shapes import Face, Placed, Solid
from fixturecheck.magnet.circuit import CUT_FACE
from fixturecheck.magnet.field.bh import BHLaw, fit_law, fit_misses, late_law, lowest_law, scaled_law
from fixturecheck.numeric import to_vector
from fixturecheck.setup.model import Body, Setup
from fixturecheck.shop.tables import material

# Poles are followed this far beyond the parts, in pitches: a magnet that gives way brings flux from there.
# The cuts lie on a grid so that a small move of a part meshes nothing again.
_BEYOND_PITCHES = 2.0
_GRID_MM = 10.0
# How deep a bar is followed, in pitches, where the magnet is taken to lie against it. Bars that are deeper in
# proportion saturate at their roots by leakage alone, since no magnet lies beside them as it does in a chuck.
_DEEP_PITCHES = 0.8
# A bar counts with all its width where so much of it lies near, and not at all where less does.
_WHOLE_SHARE = 0.5
# A body that reaches no deeper than this into what the parts can feel is left out.
_SLIVER_MM = 1.0
# Cosine of the angle of edges that are square to each other, and what parallel ones miss of one.
_SQUARE = 1e-6
BACK_FACE = "base"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ferrous:
    """One body that carries flux.

    Parameters
    ----------
    placed : Placed
        Where it stands; a pole is cut to what the parts can feel.
    weak, strong : BHLaw
        The curves that it lies between.
    pole : str or None
        `n` or `s`.
    back_faces : tuple of int
        Faces of the solid that the magnet lies against.
    """

    placed: Placed
    weak: BHLaw
    strong: BHLaw
    pole: str | None = None
    back_faces: tuple[int, ...] = ()


def ferrous_bodies(setup: Setup) -> tuple[Ferrous, ...]:
    """Return every body that carries flux, its poles cut to the neighbourhood of the other iron.

    Parameters
    ----------
    setup : Setup
        States bodies, poles and materials.

    Returns
    -------
    tuple of Ferrous
        Poles first, then other magnetic bodies.

    Raises
    ------
    NotComputedError
        A magnetic material has no curve and none is stated that it lies between, or a pole has no face for
        the magnet to lie against.
    """
    poles = setup.poles()
    # A body that poles are set in is what lies between them.
    loose = [
        b
        for b in setup.bodies
        if not b.pole and not b.poles and material(b.material).magnetic and not _behind(setup, b, poles)
    ]
    # Round every part, magnetic or not: steel blocking may hold one of brass.
    near = felt([_box(placed_at(b.solid, b.at)) for b in setup.parts()], poles)
    return tuple(f for b in (*poles, *loose) if (f := as_iron(setup, b, near)) is not None)


def _behind(setup: Setup, body: Body, poles: Sequence[Body]) -> bool:
    """Whether a piece of the magnet's own equipment lies wholly behind it, as the base of a sine plate does.

    The magnet between drives its flux the other way.
    """
    holders = {b.name: b.group for b in setup.bodies if b.poles}
    own = [p for p in poles if p.group in holders and holders[p.group] == body.group]
    if body.group is None or not own:
        return False
    corners = np.vstack([edge_ends(e) for e in edges_of(placed_at(body.solid, body.at))])
    backs = [
        face_frame(faces_of(placed_at(p.solid, p.at))[i]) for p in own for i in p.faces.get(BACK_FACE, ())
    ]
    return bool(backs) and all(((corners - at) @ out).min() > -_SLIVER_MM for at, out, _ in backs)


def irons_of(setup: Setup) -> Mapping[str, Body]:
    """Return every body by its name, poles that are set in others too.

    Parameters
    ----------
    setup : Setup
        States bodies, poles and materials.

    Returns
    -------
    mapping of str to Body
        By name.
    """
    return {b.name: b for b in (*setup.bodies, *setup.poles())}


def curves(setup: Setup, name: str, body: str) -> tuple[BHLaw, BHLaw]:
    """Return the weaker and the stronger curve of a material, at every field of all that it may have.

    Parameters
    ----------
    setup : Setup
        States bodies, poles and materials.
    name : str
        The material.
    body : str
        The body that is made of it, for the message.

    Returns
    -------
    tuple of BHLaw
        The weaker and the stronger.

    Raises
    ------
    NotComputedError
        There is none, and none is stated that it lies between.
    """
    found = material(name)
    if found.bh:
        law, spread = fit_law(name, found.bh), found.bh_spread_share
        # What the law misses of its points is no less a doubt than how lots differ.
        below, above = (max(spread, miss) for miss in fit_misses(law, found.bh))
        return scaled_law(law, 1.0 - above), scaled_law(law, 1.0 + below)
    between = (setup.holding.curves_between.get(name) if setup.holding else None) or found.between
    if not between:
        raise NotComputedError(
            f"the material of {body!r}, {name!r}, has no B-H curve, so no pull follows; state two materials "
            f"that it lies between, curves_between = {{ {name} = ['gray_iron', 'steel_1018'] }}"
        )
    ends = [curves(setup, one, body) for one in between]
    weak = [law for law, _ in ends]
    soft_a_m = max((c[1] for one in between if (c := material(one).coercivity_a_m)), default=0.0)
    if found.coercivity_a_m is not None and found.coercivity_a_m[1] > soft_a_m:
        # Iron that is named below it is steepest at its own coercivity, in fields that do not turn a harder
        # steel: how much that matters hangs on how thick the part is, so both curves count.
        weak.append(late_law(name, found.coercivity_a_m[1]))
    return lowest_law(weak), lowest_law([strong for _, strong in ends], highest=True)


def pitch_mm(poles: Sequence[Body]) -> float:
    """Return the least distance between the middles of two poles of one magnet.

    Parameters
    ----------
    poles : sequence of Body
        Pole pieces where they stand.

    Returns
    -------
    float
        mm; 25 where no magnet has two.
    """
    middles = [(b.group, _middle(b.placed())) for b in poles]
    apart = [
        float(np.linalg.norm(a - b)) for i, (of, a) in enumerate(middles) for by, b in middles[:i] if of == by
    ]
    return min(apart, default=25.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleRow:
    """What the poles of a flat chuck are, by which a calibrated one is known again.

    Parameters
    ----------
    poles : int
        How many there are.
    pole_pitch_mm : float
        From the middle of one to the next.
    pole_size_mm : tuple of float
        Width, length and height of one.
    pole_material : str
        What they are of.
    """

    poles: int
    pole_pitch_mm: float
    pole_size_mm: tuple[float, ...]
    pole_material: str


def pole_row(setup: Setup) -> PoleRow:
    """Return what the poles of a flat chuck are.

    Parameters
    ----------
    setup : Setup
        States bodies, poles and materials.

    Returns
    -------
    PoleRow
        Number, pitch, size and material of the poles.

    Raises
    ------
    NotComputedError
        The poles are no row of like bars, as those of a V-block are not.
    """
    poles = setup.poles()
    sizes = {_bar_size_mm(p.solid) if _is_bar(p.solid) and _level_under(p) else () for p in poles}
    made_of = {p.material for p in poles}
    if len(sizes) != 1 or () in sizes or len(made_of) != 1:
        raise NotComputedError(
            "the magnet here is no flat chuck with a row of like poles, and a chuck file tells of no other; "
            "leave out calibrated, and state rated_pull_n_cm2"
        )
    return PoleRow(
        poles=len(poles),
        pole_pitch_mm=round(pitch_mm(poles), 6),
        pole_size_mm=sizes.pop(),
        pole_material=made_of.pop(),
    )


def _bar_size_mm(solid: Solid) -> tuple[float, ...]:
    """Return width, length and height of a bar along the axes."""
    low, high = _box(solid)
    *level, deep = (round(float(v), 6) for v in high - low)
    return (*sorted(level), deep)


def _middle(placed: Placed) -> np.ndarray:
    low, high = _box(placed_at(placed.solid, placed.at))
    middle: np.ndarray = 0.5 * (low + high)
    return middle


def _box(solid: Solid) -> tuple[np.ndarray, np.ndarray]:
    found = np.array(box_of(solid))
    return found[:3], found[3:]


def felt(
    boxes: Sequence[tuple[np.ndarray, np.ndarray]], poles: Sequence[Body]
) -> tuple[np.ndarray, np.ndarray]:
    """Return the box around what lies on poles, wider by a pitch, on the grid; heights are left free.

    Parameters
    ----------
    boxes : sequence of (ndarray, ndarray), shapes (3,)
        Least and greatest corner of each part, mm.
    poles : sequence of Body
        Pole pieces where they stand.

    Returns
    -------
    tuple of ndarray, shape (3,)
        Least and greatest corner, mm.
    """
    low, high = np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)
    beyond = _BEYOND_PITCHES * pitch_mm(poles)
    low, high = np.floor((low - beyond) / _GRID_MM) * _GRID_MM, np.ceil((high + beyond) / _GRID_MM) * _GRID_MM
    low[2], high[2] = -1e4, 1e4
    return low, high


def as_iron(setup: Setup, body: Body, near: tuple[np.ndarray, np.ndarray]) -> Ferrous | None:
    """Return a body as iron, a pole cut to a box; None where it reaches none of the box.

    Parameters
    ----------
    setup : Setup
        States bodies, poles and materials.
    body : Body
        A pole or another magnetic body.
    near : tuple of ndarray, shape (3,)
        The box, as `felt` returns it, mm.

    Returns
    -------
    Ferrous or None
        The body between its two curves.

    Raises
    ------
    NotComputedError
        Its material has no curve, or it is a pole without a face for the magnet to lie against.
    """
    low, high = _box(placed_at(body.solid, body.at))
    inside = np.minimum(high, near[1]) - np.maximum(low, near[0])
    least = np.minimum(_SLIVER_MM, high - low)
    if body.pole and _is_bar(placed_at(body.solid, body.at)) and _level_under(body):
        across = int(np.argmin((high - low)[:2]))
        least[across] = _WHOLE_SHARE * (high - low)[across]
        near = near[0].copy(), near[1].copy()
        near[0][across], near[1][across] = low[across], high[across]
        near[0][2] = high[2] - _DEEP_PITCHES * pitch_mm(setup.poles())
    elif body.pole and _is_turned_bar(body):
        # One that leans is kept whole: a cut along the axes would leave some without a back.
        near = low - 1.0, high + 1.0
    if (inside < least).any():
        return None
    weak, strong = curves(setup, body.material, body.name)
    placed, back = body.placed(), tuple(body.faces.get(BACK_FACE, ()))
    if body.pole:
        if not back:
            raise NotComputedError(
                f"pole {body.name!r} has no face named {BACK_FACE!r}; name the face behind it so"
            )
        placed, back = trimmed(body, near)
    return Ferrous(placed=placed, weak=weak, strong=strong, pole=body.pole, back_faces=back)


def trimmed(body: Body, to: tuple[np.ndarray, np.ndarray]) -> tuple[Placed, tuple[int, ...]]:
    """Cut a body to a box in the machine's frame; its faces keep their names, the cuts are called `cut`.

    Parameters
    ----------
    body : Body
        A body where it stands.
    to : tuple of ndarray, shape (3,)
        Least and greatest corner of the box, mm.

    Returns
    -------
    placed : Placed
    back_faces : tuple of int
        Which faces of the piece are the body's back.

    Raises
    ------
    NotComputedError
        Nothing of the back of a pole lies near the parts.
    """
    whole = placed_at(body.solid, body.at)
    low, high = _box(whole)
    corners = np.maximum(low - 1.0, to[0]), np.minimum(high + 1.0, to[1])
    solid = whole
    if (corners[0] > low).any() or (corners[1] < high).any():
        solid = solids_of(common(whole, box(to_vector(corners[0]), to_vector(corners[1]))))[0]
    names = [CUT_FACE] * len(faces_of(solid))
    for face, name in zip(faces_of(whole), body.face_names(), strict=True):
        centre, normal, flat = face_frame(face)
        if flat:
            for i in by_plane(solid, to_vector(normal), to_vector(centre)):
                names[i] = name
    if BACK_FACE not in names and to[0][2] > low[2] and _level_under(body):
        # The cut that takes the place of the back.
        names = [
            BACK_FACE if _faces_down(f, corners[0][2]) else n
            for f, n in zip(faces_of(solid), names, strict=True)
        ]
    back = tuple(i for i, name in enumerate(names) if name == BACK_FACE)
    if not back:
        raise NotComputedError(f"pole {body.name!r}: nothing of its face {BACK_FACE!r} lies near the parts")
    return _brought_home(Placed(name=body.name, solid=solid, face_names=tuple(names)), back)


def _is_bar(solid: Solid) -> bool:
    """Whether a solid is a plain box along the axes."""
    low, high = _box(solid)
    size = np.round(high - low, 6)
    return bool(len(faces_of(solid)) == 6 and abs(volume_mm3(solid) - size.prod()) <= 1e-6 * size.prod())


def _is_turned_bar(body: Body) -> bool:
    """Whether a pole is a plain box that stands at an angle."""
    faces, edges = faces_of(body.solid), edges_of(body.solid)
    if len(faces) != 6 or len(edges) != 12 or _is_bar(placed_at(body.solid, body.at)):
        return False
    spans = [np.subtract(*edge_ends(e)) for e in edges]
    lengths = np.array([np.linalg.norm(s) for s in spans])
    ways = np.array(spans) / lengths[:, None]
    cosines = np.abs(ways @ ways.T)
    square = np.minimum(cosines, 1.0 - cosines).max() < _SQUARE
    return bool(square and abs(np.prod(np.sort(lengths)[[0, 4, 8]]) - volume_mm3(body.solid)) < 1e-3)


def _level_under(body: Body) -> bool:
    """Whether the magnet lies under a pole."""
    faces = faces_of(placed_at(body.solid, body.at))
    return all(face_frame(faces[i])[1][2] < -0.999 for i in body.faces.get(BACK_FACE, ()))


def _faces_down(face: Face, at_z_mm: float) -> bool:
    centre, normal, flat = face_frame(face)
    return bool(flat and normal[2] < -0.999 and abs(centre[2] - at_z_mm) < 1e-6)


def _brought_home(placed: Placed, back: tuple[int, ...]) -> tuple[Placed, tuple[int, ...]]:
    """Draw a plain bar anew at the origin, so that all like poles are one shape and meshed once."""
    if not _is_bar(placed.solid):
        return placed, back
    low, high = _box(placed.solid)
    size = np.round(high - low, 6)
    solid = box((0.0, 0.0, 0.0), to_vector(size))
    names = list(placed.face_names)
    moved = placed_at(solid, translation(to_vector(low)))
    order = []
    for face in faces_of(moved):
        centre, normal, _ = face_frame(face)
        order.append(by_plane(placed.solid, to_vector(normal), to_vector(centre))[0])
    found = Placed(
        name=placed.name,
        solid=solid,
        face_names=tuple(names[i] for i in order),
        at=translation(to_vector(low)),
    )
    return found, tuple(n for n, i in enumerate(order) if i in back)
