"""What equipment is made of: solids with named faces, where those lie, and pole pieces set in a plate."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from fixturecheck.angles.incline import Incline
from fixturecheck.arrays import Point2
from fixturecheck.errors import KernelError, SetupError
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import bevelled, box, chamfer, copied, prism
from fixturecheck.kernel.measure import area_mm2, box_of, centroid_of, face_frame
from fixturecheck.kernel.select import by_plane
from fixturecheck.kernel.shapes import Solid
from fixturecheck.result.shapes import Vector

AXIS_NORMALS: Mapping[str, Vector] = {
    "minus_x": (-1.0, 0.0, 0.0),
    "plus_x": (1.0, 0.0, 0.0),
    "minus_y": (0.0, -1.0, 0.0),
    "plus_y": (0.0, 1.0, 0.0),
    "base": (0.0, 0.0, -1.0),
    "top": (0.0, 0.0, 1.0),
}
"""Names of the faces that look along an axis, where no better name fits."""


_GROUND: Mapping[str, str] = MappingProxyType({"*": "ground"})
Faces = dict[str, tuple[int, ...]]
Plane = tuple[Vector, Vector]
"""A normal that looks out of the solid, and a point of the plane."""
_AS_THEY_ARE: Mapping[str, str] = MappingProxyType({})
_ENDS = {"minus_x": -0.5, "plus_x": 0.5}
_MOST_POLES = 400
_Bar = tuple[Vector, Vector]
"""Two opposite corners of a pole."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """One body of a piece of equipment.

    Parameters
    ----------
    suffix : str
        What tells it from its fellows; empty for equipment that is one body. The body's name in a
        set-up is the equipment's name, or that with `_<suffix>`.
    solid : Solid
        In the frame of the equipment, mm.
    faces : mapping of str to tuple of int
        Named faces as indices into `faces_of(solid)`.
    material : str
        A name from the materials table.
    finish : mapping of str to str
        Finish by face name; `*` is the rest.
    pole : str or None
        `n` or `s` for a magnet's pole piece.
    poles : tuple of Piece
        Pole pieces set in the solid and flush with it.
    inclines : tuple of Incline
        The slopes that it makes, that of the lowest hinge first, where it is there for that.
    role : str
        `fixture`, always: equipment holds, it is not ground.
    """

    suffix: str
    solid: Solid
    faces: Mapping[str, tuple[int, ...]]
    material: str
    finish: Mapping[str, str] = field(default_factory=lambda: _GROUND)
    pole: str | None = None
    poles: tuple[Piece, ...] = ()
    inclines: tuple[Incline, ...] = ()
    role: str = "fixture"

    def body_name(self, equipment: str) -> str:
        """Return the body's name when the equipment goes by `equipment`."""
        return f"{equipment}_{self.suffix}" if self.suffix else equipment

    def copied(self) -> Piece:
        """Return the same body of a solid, and of poles, that share no face with it."""
        return replace(self, solid=copied(self.solid), poles=tuple(pole.copied() for pole in self.poles))


def named(solid: Solid, planes: Mapping[str, Plane]) -> Faces:
    """Name plane faces by where they lie.

    Parameters
    ----------
    solid : Solid
        What has the faces.
    planes : mapping of str to (Vector, Vector)
        By name the outward normal of a face and a point that it passes through, mm.

    Returns
    -------
    dict of str to tuple of int
        Indices of the faces in each plane.

    Raises
    ------
    KernelError
        A plane holds no face, which means that the solid came out wrong.
    """
    faces: Faces = {}
    for name, (normal, through) in planes.items():
        faces[name] = by_plane(solid, normal, through)
        if not faces[name]:
            raise KernelError(f"no face of the solid lies where {name!r} should be, at {through}")
    return faces


def rest_named(solid: Solid, faces: Faces, name: str) -> Faces:
    """Add a name for all the faces that have none.

    Parameters
    ----------
    solid : Solid
        What has the faces.
    faces : dict of str to tuple of int
        Those that have names; left as it is.
    name : str
        Name of the others.

    Returns
    -------
    dict of str to tuple of int
        Without the name where no face is left.
    """
    taken = {i for indices in faces.values() for i in indices}
    rest = tuple(i for i in range(len(faces_of(solid))) if i not in taken)
    return {**faces, name: rest} if rest else faces


def named_box(
    low: Vector, high: Vector, *, names: Mapping[str, str] = _AS_THEY_ARE, chamfer_mm: float = 0.0
) -> tuple[Solid, Faces]:
    """Return a box and its named faces; `names` gives better names than those by axis.

    Parameters
    ----------
    low, high : Vector
        Opposite corners, mm.
    names : mapping of str to str
        By axis, as `plus_y`, the name that the face gets; others keep that of the axis.
    chamfer_mm : float
        On every edge; zero is none. Its faces are named `chamfer`.

    Returns
    -------
    (Solid, Faces)
        The box, and the indices of its faces by name.
    """
    solid = chamfer(box(low, high), chamfer_mm)
    # Each side of the box passes through whichever of the two corners lies on it.
    planes = {
        names.get(name, name): (normal, high if sum(normal) > 0 else low)
        for name, normal in AXIS_NORMALS.items()
    }
    return solid, rest_named(solid, named(solid, planes), "chamfer")


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A polygon in (y, z), counter-clockwise seen from +X, whose sides have names.

    Parameters
    ----------
    corners : sequence of (float, float)
        In order.
    sides : sequence of str
        `sides[i]` is the name of the side from corner i to the next.
    bevel_mm : float
        How far back the corners in `bevel_at` are cut off; those sides are named `chamfer`.
    """

    corners: Sequence[Point2]
    sides: Sequence[str]
    bevel_mm: float = 0.0
    bevel_at: Sequence[int] = ()

    def prism(self, *, length_mm: float) -> tuple[Solid, Faces]:
        """Return the prism along X, centred on x = 0, and its named faces."""
        solid = self.solid(length_mm=length_mm)
        return solid, self.faces(solid, length_mm=length_mm)

    def solid(self, *, length_mm: float) -> Solid:
        """Return the prism along X, centred on x = 0."""
        corners = bevelled(self.corners, self.bevel_mm, self.bevel_at)
        return prism(corners, from_x_mm=-length_mm / 2, to_x_mm=length_mm / 2)

    def faces(self, solid: Solid, *, length_mm: float, rest: str = "chamfer") -> Faces:
        """Return the named faces of the prism, or of what was cut from it; `rest` names the others.

        Parameters
        ----------
        solid : Solid
            The prism, or what was cut from it.
        length_mm : float
            Length of the prism along X.
        rest : str
            Name of the faces that are neither sides nor ends.

        Returns
        -------
        dict of str to tuple of int
            The sides by their names, the ends as `minus_x` and `plus_x`, and the rest.
        """
        faces: Faces = {}
        for i, name in enumerate(self.sides):
            (y0, z0), (y1, z1) = self.corners[i], self.corners[(i + 1) % len(self.corners)]
            found = named(solid, {name: ((0.0, z1 - z0, y0 - y1), (0.0, y0, z0))})
            faces[name] = tuple(sorted({*faces.get(name, ()), *found[name]}))
        ends = {n: (AXIS_NORMALS[n], (share * length_mm, 0.0, 0.0)) for n, share in _ENDS.items()}
        return rest_named(solid, {**faces, **named(solid, ends)}, rest)


@dataclass(frozen=True, slots=True, kw_only=True)
class FacePlace:
    """One face: its name, middle, area, and the way it looks out of the solid; None where it is curved."""

    name: str
    middle: Vector
    looks: Vector | None
    area_mm2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyPlace:
    """One body of a piece of equipment.

    Parameters
    ----------
    suffix : str
        What follows the equipment's name; empty where it is one body.
    pole : str or None
        `n` or `s` where a magnet's pole is.
    poles : int
        Pole pieces set in it.
    low, high : Vector
        Opposite corners of its box, mm.
    """

    suffix: str
    material: str
    pole: str | None
    poles: int
    low: Vector
    high: Vector
    faces: tuple[FacePlace, ...]


def body_place(piece: Piece) -> BodyPlace:
    """Return where one body of a piece of equipment and its faces lie.

    Parameters
    ----------
    piece : Piece
        In its own frame.

    Returns
    -------
    BodyPlace
        In the same frame, mm.
    """
    low_x, low_y, low_z, high_x, high_y, high_z = box_of(piece.solid)
    return BodyPlace(
        suffix=piece.suffix,
        material=piece.material,
        pole=piece.pole,
        poles=len(piece.poles),
        low=(low_x, low_y, low_z),
        high=(high_x, high_y, high_z),
        faces=tuple(_face_places(piece)),
    )


def _face_places(piece: Piece) -> list[FacePlace]:
    solid_faces = faces_of(piece.solid)
    found = []
    for name, indices in piece.faces.items():
        for i in indices:
            face = solid_faces[i]
            _, normal, flat = face_frame(face)
            found.append(
                FacePlace(
                    name=name,
                    middle=centroid_of(face),
                    looks=(float(normal[0]), float(normal[1]), float(normal[2])) if flat else None,
                    area_mm2=area_mm2(face),
                )
            )
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleLayout:
    """Iron bars in a plate, alternately north and south.

    Parameters
    ----------
    pole_pitch_mm, spacer_mm : float
        From one pole to the next, and between two.
    frame_mm : float
        Border without poles, at least.
    pole_direction : str
        The axis along which each pole runs, `x` or `y`.
    material : str
        Of the poles.
    """

    pole_pitch_mm: float
    spacer_mm: float
    frame_mm: float
    pole_direction: str
    material: str

    def poles(self, kind: str, low: Vector, high: Vector) -> tuple[Piece, ...]:
        """Return as many poles as fit inside the frame of a plate, in the middle of it; odd ones are north.

        Parameters
        ----------
        kind : str
            The equipment, for messages.
        low, high : Vector
            Opposite corners of the plate; the poles are as high.

        Raises
        ------
        SetupError
            There is no room for two poles, or they are too many to handle one by one.
        """
        bars = enumerate(self._bars(kind, low, high), start=1)
        return tuple(_pole(number, bar, self.material) for number, bar in bars)

    def _bars(self, kind: str, low: Vector, high: Vector) -> Iterator[_Bar]:
        """Yield the corners of each pole in turn along the axis on which they repeat."""
        across = 1 if self.pole_direction == "x" else 0
        along = 1 - across
        pitch_mm, frame_mm = self.pole_pitch_mm, self.frame_mm
        iron_mm = pitch_mm - self.spacer_mm
        if iron_mm <= 0:
            raise SetupError(
                f"{kind}: spacer_mm {self.spacer_mm:g} leaves no iron in pole_pitch_mm {pitch_mm:g}"
            )
        room_mm = [b - a - 2 * frame_mm for a, b in zip(low, high, strict=True)]
        # The small addition keeps a plate that is an exact number of pitches from losing one to rounding.
        count = math.floor((room_mm[across] + self.spacer_mm) / pitch_mm + 1e-9)
        if count < 2 or room_mm[along] <= 0:
            raise SetupError(
                f"{kind}: no room for two poles of pitch {pitch_mm:g} mm inside a frame of {frame_mm:g} mm; "
                "make the plate longer or the pitch smaller"
            )
        if count > _MOST_POLES:
            raise SetupError(
                f"{kind}: {count} poles are more than a field can be worked out for; take a larger "
                "pole_pitch_mm"
            )
        middle_mm = (low[across] + high[across]) / 2
        first_mm = middle_mm - (count * pitch_mm - self.spacer_mm) / 2
        for i in range(count):
            start, end = [0.0, 0.0, low[2]], [0.0, 0.0, high[2]]
            start[across], end[across] = first_mm + i * pitch_mm, first_mm + i * pitch_mm + iron_mm
            start[along], end[along] = low[along] + frame_mm, high[along] - frame_mm
            yield (start[0], start[1], start[2]), (end[0], end[1], end[2])


def _pole(number: int, bar: _Bar, material: str) -> Piece:
    solid, faces = named_box(*bar)
    pole = "n" if number % 2 else "s"
    return Piece(suffix=f"pole_{number:02d}", solid=solid, faces=faces, material=material, pole=pole)
