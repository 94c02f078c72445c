"""A face that seats, and what it asks of a body's pose that the face lies on one that stands still."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.brep.face_table import FaceTable, Hull, face_tables
from fixturecheck.kernel.brep.primitives import Surface, SurfaceKind
from fixturecheck.kernel.place import drawing_matrix
from fixturecheck.kernel.shapes import Solid
from fixturecheck.numeric import square_to

_ONE_WAY = 1.0 - 1e-12
_SAME_MM = 1e-6
_NOWHERE_ELSE = np.eye(4)
_EXACT = (SurfaceKind.PLANE, SurfaceKind.CYLINDER, SurfaceKind.CONE, SurfaceKind.SPHERE)
_SAME_RAD = 1e-9
_ABOUT_AXIS = (SurfaceKind.CYLINDER, SurfaceKind.CONE, SurfaceKind.TORUS)
_PARALLEL = 1e-9
_EQUAL_MM = 1e-6
"""Radii that differ by less make a fit without play: the axes coincide."""
_EQUAL_RAD = 1e-6
"""Half angles of cones that differ by less touch all over: 1 um on a side of a metre."""
_PLANE, _CYLINDER, _SPHERE = SurfaceKind.PLANE, SurfaceKind.CYLINDER, SurfaceKind.SPHERE
ConeAsks = tuple[list[tuple[float, Floats]], list[tuple[float, Floats, Floats]]]
"""Angles that miss with how they change with a turn of the cone; distances that miss, each with the direction
in which the cone has to move for it to grow and the place at which that counts."""
_CONE = SurfaceKind.CONE


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeatFace:
    """A face, or several that lie on one surface, as the solver of seats needs it.

    Parameters
    ----------
    kind : SurfaceKind
        Plane, cylinder, cone or sphere.
    point_mm : ndarray, shape (3,)
        A point of the plane, of the cylinder's axis, the cone's apex, or the sphere's centre.
    direction : ndarray, shape (3,)
        Outward normal of the plane, the cylinder's axis, or the cone's from its apex into it; zero for a
        sphere.
    radius_mm : float
        Of cylinder and sphere.
    half_angle_rad : float
        Of a cone, between its axis and its side.
    outward : int
        +1 where the material lies inside (a pin), -1 where it lies outside (a bore).
    hull : Hull
        Pieces whose hull holds the face, as they are drawn.
    numbers : tuple of int
        Which pieces of the hull, by the numbers of their faces.
    turn, shift : ndarray, shapes (3, 3) and (3,)
        Where the hull stands: x -> turn x + shift.
    """

    kind: SurfaceKind
    point_mm: Floats
    direction: Floats
    radius_mm: float = 0.0
    half_angle_rad: float = 0.0
    outward: int = 1
    hull: Hull
    numbers: tuple[int, ...]
    turn: Floats = field(default_factory=lambda: np.eye(3))
    shift: Floats = field(default_factory=lambda: np.zeros(3))

    def moved(self, turn: Floats, shift: Floats) -> SeatFace:
        """Return the face after x -> turn x + shift.

        Parameters
        ----------
        turn, shift : ndarray, shape (3, 3) and (3,)
            Rotation, and shift in mm: x -> turn x + shift.
        """
        return SeatFace(
            kind=self.kind,
            point_mm=turn @ self.point_mm + shift,
            direction=turn @ self.direction,
            radius_mm=self.radius_mm,
            half_angle_rad=self.half_angle_rad,
            outward=self.outward,
            hull=self.hull,
            numbers=self.numbers,
            turn=turn @ self.turn,
            shift=turn @ self.shift + shift,
        )

    def extent_mm(self, way: Floats) -> tuple[float, float]:
        """Return the least and greatest position of the face along a unit direction, mm."""
        drawn = self.turn.T @ way
        far = self.hull.reach(np.vstack((-drawn, drawn)))[np.isin(self.hull.faces, self.numbers)]
        at = float(way @ self.shift)
        return at - float(far[:, 0].max()), at + float(far[:, 1].max())

    def middle_mm(self, way: Floats) -> float:
        """Return the position half way between the ends of the face along a unit direction, mm."""
        low, high = self.extent_mm(way)
        return 0.5 * (low + high)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WholeShape:
    """How large a solid is, and what it is turned about.

    Parameters
    ----------
    middle_mm : ndarray, shape (3,)
        Middle of a box around it.
    size_mm : float
        Diagonal of that box.
    axis : (point, direction) or None
        A point and the unit direction of the axis of a body of revolution; None for any other body.
    """

    middle_mm: Floats
    size_mm: float
    axis: tuple[Floats, Floats] | None

    def moved(self, turn: Floats, shift: Floats) -> WholeShape:
        """Return the shape after x -> turn x + shift.

        Parameters
        ----------
        turn, shift : ndarray, shape (3, 3) and (3,)
            Rotation, and shift in mm: x -> turn x + shift.
        """
        axis = None if self.axis is None else (turn @ self.axis[0] + shift, turn @ self.axis[1])
        return WholeShape(middle_mm=turn @ self.middle_mm + shift, size_mm=self.size_mm, axis=axis)


class SeatFaces:
    """Reads faces that seat, each once however many copies of a drawing there are."""

    def __init__(self) -> None:
        self._found: dict[tuple[int, tuple[int, ...]], SeatFace] = {}
        self._shapes: dict[int, WholeShape] = {}
        # The solids themselves are kept, so that each number stands for one of them.
        self._read: dict[int, tuple[Solid, FaceTable, Floats]] = {}

    def read(self, solid: Solid, numbers: Sequence[int], name: str) -> SeatFace:
        """Return the surface that some faces of a solid share, in the frame that the solid is drawn in.

        Parameters
        ----------
        numbers : sequence of int
            Which faces, as numbers in `faces_of(solid)`.
        name : str
            What the face is called in a message.

        Raises
        ------
        NotComputedError
            The faces lie on different surfaces, or on one that has no closed form here.
        """
        table, matrix = self._table(solid)
        key = id(table), tuple(numbers)
        if key not in self._found:
            self._found[key] = _shared_surface(table, key[1], name)
        found = self._found[key]
        # Most solids are drawn where their own frame is.
        return found if np.array_equal(matrix, _NOWHERE_ELSE) else found.moved(matrix[:3, :3], matrix[:3, 3])

    def shape(self, solid: Solid) -> WholeShape:
        """Return the size of a solid, and the axis that it is turned about."""
        table, matrix = self._table(solid)
        if id(table) not in self._shapes:
            self._shapes[id(table)] = _whole_shape(table)
        return self._shapes[id(table)].moved(matrix[:3, :3], matrix[:3, 3])

    def _table(self, solid: Solid) -> tuple[FaceTable, Floats]:
        if id(solid) not in self._read:
            self._read[id(solid)] = solid, face_tables([solid])[0], drawing_matrix(solid)
        return self._read[id(solid)][1:]


def _shared_surface(table: FaceTable, numbers: tuple[int, ...], name: str) -> SeatFace:
    found = [_on_surface(table, number, numbers) for number in numbers]
    first = found[0]
    if first is None:
        kind = table.kinds[numbers[0]]
        what = "a free-form face" if kind == SurfaceKind.OTHER else f"a {kind}"
        raise NotComputedError(f"{name} is {what}")
    if not all(other is not None and _same(first, other) for other in found[1:]):
        raise NotComputedError(f"{name} names faces on several surfaces")
    return first


def _on_surface(table: FaceTable, number: int, numbers: tuple[int, ...]) -> SeatFace | None:
    """Return the surface of one face, or None where it is of another kind."""
    if table.kinds[number] == SurfaceKind.PLANE:
        normal = table.normals[number]
        point = normal * table.offsets[number]
        return SeatFace(
            kind=SurfaceKind.PLANE, point_mm=point, direction=normal, hull=table.hull, numbers=numbers
        )
    surface: Surface | None = table.surfaces[number]
    if surface is None or surface.kind not in _EXACT:
        return None
    ball = surface.kind == SurfaceKind.SPHERE
    return SeatFace(
        kind=surface.kind,
        point_mm=surface.origin,
        direction=np.zeros(3) if ball else surface.axis,
        radius_mm=surface.radius_mm,
        half_angle_rad=surface.half_angle_rad,
        outward=surface.outward,
        hull=table.hull,
        numbers=numbers,
    )


def _same(one: SeatFace, other: SeatFace) -> bool:
    """Tell whether two faces lie on the same surface, on the same side of the material."""
    if one.kind != other.kind or one.outward != other.outward:
        return False
    apart = other.point_mm - one.point_mm
    if one.kind == SurfaceKind.PLANE:
        return bool(one.direction @ other.direction > _ONE_WAY and abs(apart @ one.direction) < _SAME_MM)
    if abs(one.radius_mm - other.radius_mm) > _SAME_MM:
        return False
    if one.kind == SurfaceKind.SPHERE:
        return bool(np.linalg.norm(apart) < _SAME_MM)
    if one.kind == SurfaceKind.CONE:
        alike = abs(one.half_angle_rad - other.half_angle_rad) < _SAME_RAD
        return bool(alike and one.direction @ other.direction > _ONE_WAY and np.linalg.norm(apart) < _SAME_MM)
    across = apart - one.direction * (apart @ one.direction)
    return bool(abs(one.direction @ other.direction) > _ONE_WAY and np.linalg.norm(across) < _SAME_MM)


def _whole_shape(table: FaceTable) -> WholeShape:
    far = table.hull.reach(np.vstack((-np.eye(3), np.eye(3)))).max(axis=0)
    low, high = -far[:3], far[3:]
    size_mm = float(np.linalg.norm(high - low))
    return WholeShape(middle_mm=0.5 * (low + high), size_mm=size_mm, axis=_axis_of_revolution(table))


def _axis_of_revolution(table: FaceTable) -> tuple[Floats, Floats] | None:
    """Return a point and the direction of the one axis that all faces are surfaces of revolution about."""
    around = [s for s in table.surfaces if s is not None]
    axes = [s for s in around if s.kind in _ABOUT_AXIS]
    if not axes or any(s.kind not in (*_ABOUT_AXIS, SurfaceKind.SPHERE) for s in around):
        return None
    point, axis = axes[0].origin, axes[0].axis
    for surface in around:
        apart = surface.origin - point
        if np.linalg.norm(apart - axis * (axis @ apart)) > _SAME_MM:
            return None
        if surface.kind != SurfaceKind.SPHERE and abs(surface.axis @ axis) < _ONE_WAY:
            return None
    flat = [n for n, kind in zip(table.normals, table.kinds, strict=True) if kind == SurfaceKind.PLANE]
    if any(abs(normal @ axis) < _ONE_WAY for normal in flat):
        return None
    return point, axis


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mate:
    """A face of the body that is placed, on a face that stands still.

    Parameters
    ----------
    name : str
        What the pair is called.
    own : SeatFace
        The body's face, in the body's own frame.
    other : SeatFace
        The face that it goes on, in the machine's frame.
    gap_mm : float
        How far off it the face stands.
    """

    name: str
    own: SeatFace
    other: SeatFace
    gap_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Misfit:
    """How far a pose is from what a mate asks.

    Parameters
    ----------
    lean_rad : ndarray, shape (k,)
        Angles by which directions miss.
    off_mm : ndarray, shape (m,)
        Distances by which the surfaces miss: above zero apart, below zero one within the other.
    turn_rows : ndarray, shape (k, 3)
        How each angle changes with a turn, per radian.
    rows : ndarray, shape (m, 6)
        How each distance changes with a shift (mm) and a turn (radians) about the given centre.
    """

    lean_rad: Floats
    off_mm: Floats
    turn_rows: Floats
    rows: Floats

    def scaled(self, size_mm: float) -> tuple[Floats, Floats]:
        """Return what misses in mm at the body's size, (n,), and its rows for turns in mm at that size."""
        turns = np.hstack((np.zeros((len(self.turn_rows), 3)), self.turn_rows))
        rows = np.vstack((turns, self.rows / np.array([1.0, 1.0, 1.0, size_mm, size_mm, size_mm])))
        return np.concatenate((self.lean_rad * size_mm, self.off_mm)), rows


def misfit(mate: Mate, turn: Floats, shift: Floats, centre_mm: Floats) -> Misfit:
    """Return how far the body's pose, x -> turn x + shift, is from what the mate asks.

    Parameters
    ----------
    mate : Mate
        A face of the body, one of another, and the gap wanted between them.
    turn : ndarray, shape (3, 3)
        Rotation of the body.
    shift : ndarray, shape (3,)
        Where its origin goes, mm.
    centre_mm : ndarray, shape (3,)
        The point that turns are about, in the machine's frame.

    Returns
    -------
    Misfit
    """
    if SurfaceKind.CONE in (mate.own.kind, mate.other.kind):
        return _with_cone(mate.own.moved(turn, shift), mate.other, mate.gap_mm, centre_mm)
    asks = _ASKS[mate.own.kind, mate.other.kind]
    own = _Moved(
        point=turn @ mate.own.point_mm + shift,
        direction=turn @ mate.own.direction,
        radius=mate.own.radius_mm,
        outward=mate.own.outward,
    )
    return asks(own, mate.other, mate.gap_mm, centre_mm)


def fits(own: SeatFace, other: SeatFace) -> bool:
    """Tell whether two faces can touch so that a pose follows: a bore can only go on something round.

    A cone lies on a plane along a line, in or on a cone of its own angle, in a bore or over a pin on the rim,
    and with a ball.

    Parameters
    ----------
    own, other : SeatFace
        The two faces; which is which makes no difference.

    Returns
    -------
    bool
    """
    if SurfaceKind.CONE in (own.kind, other.kind):
        return _cone_fits(own, other)
    hollow = [face for face in (own, other) if face.outward < 0]
    if not hollow:
        return True
    rest = [face for face in (own, other) if face.outward > 0]
    if len(rest) != 1 or rest[0].kind == SurfaceKind.PLANE:
        return False
    return rest[0].radius_mm <= hollow[0].radius_mm + _EQUAL_MM


def _cone_fits(own: SeatFace, other: SeatFace) -> bool:
    kinds = {own.kind, other.kind}
    if SurfaceKind.PLANE in kinds:
        return own.outward > 0 and other.outward > 0
    if kinds == {SurfaceKind.CONE}:
        return own.outward != other.outward and abs(own.half_angle_rad - other.half_angle_rad) < _EQUAL_RAD
    if SurfaceKind.CYLINDER in kinds:
        return own.outward != other.outward
    return all(face.outward > 0 for face in (own, other) if face.kind == SurfaceKind.SPHERE)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Moved:
    """A face of the body where the pose puts it."""

    point: Floats
    direction: Floats
    radius: float
    outward: int


def cross_product(a: Floats, b: Floats) -> Floats:
    """Return a x b of two vectors, shape (3,); several times faster than numpy's.

    Parameters
    ----------
    a, b : ndarray, shape (3,)
        The two factors, in this order.

    Returns
    -------
    ndarray, shape (3,)
    """
    return np.array((a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]))


def _made(leans: list[tuple[float, Floats]], offs: list[tuple[float, Floats]]) -> Misfit:
    return Misfit(
        lean_rad=np.array([v for v, _ in leans]),
        off_mm=np.array([v for v, _ in offs]),
        turn_rows=np.array([r for _, r in leans]).reshape(-1, 3),
        rows=np.array([r for _, r in offs]).reshape(-1, 6),
    )


def _facing(own: Floats, wanted: Floats) -> list[tuple[float, Floats]]:
    """Ask that a direction of the body is a given one; the two parts of the turn that is missing."""
    axes = square_to(wanted)
    parts = axes @ own
    sine = float(np.linalg.norm(parts))
    angle = float(np.arctan2(sine, own @ wanted))
    if sine < _PARALLEL and angle > 1.0:
        # It looks straight the other way: half a turn is missing, about either axis.
        parts, sine = np.array((1.0, 0.0)), 1.0
    # The same as the parts near the goal, and growing up to half a turn.
    share = angle / sine if sine > _PARALLEL else 1.0
    return [(float(share * part), cross_product(own, axis)) for part, axis in zip(parts, axes, strict=True)]


def _square(own: Floats, normal: Floats) -> list[tuple[float, Floats]]:
    """Ask that a direction of the body is square to a given one."""
    return [(float(np.arcsin(np.clip(own @ normal, -1.0, 1.0))), cross_product(own, normal))]


def _parallel(own: Floats, wanted: Floats) -> list[tuple[float, Floats]]:
    """Ask that an axis of the body lies along a given one, either way."""
    return _facing(own, wanted if own @ wanted >= 0.0 else -wanted)


def _shift(normal: Floats, point: Floats, centre: Floats) -> Floats:
    """Return how the position of a point of the body along a direction changes with shift and turn."""
    return np.concatenate((normal, cross_product(point - centre, normal)))


def _plane_plane(own: _Moved, other: SeatFace, gap: float, centre: Floats) -> Misfit:
    normal = other.direction
    off = float(normal @ (own.point - other.point_mm)) - gap
    return _made(_facing(own.direction, -normal), [(off, _shift(normal, own.point, centre))])


def _round_plane(own: _Moved, other: SeatFace, gap: float, centre: Floats) -> Misfit:
    normal = other.direction
    off = float(normal @ (own.point - other.point_mm)) - own.radius - gap
    leans = _square(own.direction, normal) if own.direction.any() else []
    return _made(leans, [(off, _shift(normal, own.point, centre))])


def _plane_round(own: _Moved, other: SeatFace, gap: float, centre: Floats) -> Misfit:
    normal = own.direction
    off = float(normal @ (other.point_mm - own.point)) - other.radius_mm - gap
    # The normal turns with the body, so that the arm counts from what stands still.
    row = np.concatenate((-normal, cross_product(normal, other.point_mm - centre)))
    leans = _square(normal, other.direction) if other.direction.any() else []
    return _made(leans, [(off, row)])


def _axes(own: _Moved, other: SeatFace, gap: float, centre: Floats) -> Misfit:
    """A pin in a bore, or over another: their axes lie parallel."""
    leans = _parallel(own.direction, other.direction)
    apart = own.point - other.point_mm
    return _made(leans, _beside(own, other, (other.direction, apart), gap, centre))


def _beside(
    own: _Moved, other: SeatFace, known: tuple[Floats, Floats], gap: float, centre: Floats
) -> list[tuple[float, Floats]]:
    """Ask that two round faces whose axes lie parallel touch along a line, or coincide."""
    axis, apart = known
    flat = apart - axis * (axis @ apart) if axis.any() else apart
    far = float(np.linalg.norm(flat))
    outside = own.outward > 0 and other.outward > 0
    play = abs(own.radius - other.radius_mm)
    if not outside and play + abs(gap) < _EQUAL_MM:
        ways = square_to(axis) if axis.any() else np.eye(3)
        return [(float(way @ apart), _shift(way, own.point, centre)) for way in ways]
    way = flat / far if far > _PARALLEL else (square_to(axis)[1] if axis.any() else np.eye(3)[2])
    off = far - own.radius - other.radius_mm - gap if outside else play - gap - far
    sign = 1.0 if outside else -1.0
    return [(off, _shift(sign * way, own.point, centre))]


def _balls(own: _Moved, other: SeatFace, gap: float, centre: Floats) -> Misfit:
    axis = other.direction
    return _made([], _beside(own, other, (axis, own.point - other.point_mm), gap, centre))


def _round_ball(own: _Moved, other: SeatFace, gap: float, centre: Floats) -> Misfit:
    """A cylinder of the body on a ball that stands still."""
    apart = own.point - other.point_mm
    flat = apart - own.direction * (own.direction @ apart)
    near = replace(own, point=other.point_mm + flat)
    return _made([], _beside(near, other, (own.direction, flat), gap, centre))


_ASKS: Mapping[tuple[SurfaceKind, SurfaceKind], Callable[[_Moved, SeatFace, float, Floats], Misfit]] = {
    (_PLANE, _PLANE): _plane_plane,
    (_CYLINDER, _PLANE): _round_plane,
    (_SPHERE, _PLANE): _round_plane,
    (_PLANE, _CYLINDER): _plane_round,
    (_PLANE, _SPHERE): _plane_round,
    (_CYLINDER, _CYLINDER): _axes,
    (_SPHERE, _CYLINDER): _balls,
    (_SPHERE, _SPHERE): _balls,
    (_CYLINDER, _SPHERE): _round_ball,
}


def _with_cone(own: SeatFace, other: SeatFace, gap: float, centre: Floats) -> Misfit:
    """Ask that two faces of which at least one is a cone touch; `own` is where the pose puts it.

    The conditions are those of the two surfaces, whichever of them moves; only the rows differ in sign.
    """
    if other.kind != _CONE or (own.kind == _CONE and own.outward < 0):
        cone, mated, moves = own, other, 1.0
    else:
        cone, mated, moves = other, own, -1.0
    leans, offs = _CONE_ASKS[mated.kind](cone, mated, gap)
    # Where the body carries what the cone is mated with, its move is the opposite one of the cone's.
    return _made(
        [(value, moves * row) for value, row in leans],
        [(value, moves * _shift(way, point, centre)) for value, way, point in offs],
    )


def _cone_plane(cone: SeatFace, plane: SeatFace, gap: float) -> ConeAsks:
    """A cone lies along a line: its axis rises from the plane by its half angle, its apex is in the plane."""
    normal = plane.direction
    sine = float(np.clip(cone.direction @ normal, -1.0, 1.0))
    lean = float(np.arcsin(sine)) - cone.half_angle_rad
    row = cross_product(cone.direction, normal) / max(float(np.sqrt(1.0 - sine * sine)), _PARALLEL)
    off = float(normal @ (cone.point_mm - plane.point_mm)) - gap
    return [(lean, row)], [(off, normal, cone.point_mm)]


def _cone_cone(cone: SeatFace, other: SeatFace, gap: float) -> ConeAsks:
    """Cones of one angle lie in each other all over: axis on axis, apex on apex."""
    leans = _facing(cone.direction, other.direction)
    axis = other.direction
    back = gap / float(np.sin(cone.half_angle_rad)) * (1.0 if cone.outward > 0 else -1.0)
    apart = cone.point_mm - other.point_mm - back * axis
    ways = (*square_to(axis), axis)
    return leans, [(float(way @ apart), way, cone.point_mm) for way in ways]


def _cone_cylinder(cone: SeatFace, round_: SeatFace, gap: float) -> ConeAsks:
    """A cone in a bore, or over a pin, touches the rim: axis on axis, where it is as wide as the rim."""
    axis = round_.direction if cone.direction @ round_.direction >= 0.0 else -round_.direction
    low, high = round_.extent_mm(axis)
    # The wide end of a cone stands out of a bore; a pin stands out of the wide end of a countersink.
    rim = high if cone.outward > 0 else low
    wide = round_.radius_mm - cone.outward * gap / float(np.cos(cone.half_angle_rad))
    off = float(axis @ cone.point_mm) - (rim - wide / float(np.tan(cone.half_angle_rad)))
    apart = cone.point_mm - round_.point_mm
    leans = _facing(cone.direction, axis)
    offs = [(float(way @ apart), way, cone.point_mm) for way in square_to(axis)]
    return leans, [*offs, (off, axis, cone.point_mm)]


def _cone_ball(cone: SeatFace, ball: SeatFace, gap: float) -> ConeAsks:
    """A ball in a countersink touches it along a circle; one beside a cone at a point."""
    apart = ball.point_mm - cone.point_mm
    axis = cone.direction
    sine, cosine = float(np.sin(cone.half_angle_rad)), float(np.cos(cone.half_angle_rad))
    if cone.outward < 0:
        off = float(axis @ apart) - (ball.radius_mm + gap) / sine
        ways = square_to(axis)
        return [], [(-float(way @ apart), way, ball.point_mm) for way in ways] + [(-off, axis, ball.point_mm)]
    flat = apart - axis * (axis @ apart)
    far = float(np.linalg.norm(flat))
    out = flat / far if far > _PARALLEL else square_to(axis)[0]
    way = cosine * out - sine * axis
    off = float(way @ apart) - ball.radius_mm - gap
    return [], [(-off, way, ball.point_mm)]


_CONE_ASKS: Mapping[SurfaceKind, Callable[[SeatFace, SeatFace, float], ConeAsks]] = {
    _PLANE: _cone_plane,
    _CONE: _cone_cone,
    _CYLINDER: _cone_cylinder,
    _SPHERE: _cone_ball,
}
