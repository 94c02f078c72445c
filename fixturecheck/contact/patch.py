"""What a contact map holds: patches between faces, overlaps, and patches before they have names."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import Any, cast

import numpy as np
import shapely
from numpy.typing import NDArray

from fixturecheck.arrays import Floats
from fixturecheck.contact.placed import PlaneFrame
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.topology import edges_of
from fixturecheck.kernel.construct import segment, vertex
from fixturecheck.kernel.measure import edge_centre, edge_length_mm, is_straight, is_within
from fixturecheck.kernel.place import transformed
from fixturecheck.kernel.sample import edge_points
from fixturecheck.kernel.shapes import Edge, Shape
from fixturecheck.numeric import to_vector
from fixturecheck.result.contact import Contact, ContactKind
from fixturecheck.result.shapes import NamedShape, Vector


@dataclass(frozen=True, kw_only=True, eq=False)
class Patch:
    """A contact with its geometry: faces for an area, edges for a line, a vertex for a point.

    Parameters
    ----------
    number : int
        Counts the patches of one kind between the same two faces, from one.
    bodies : tuple of str
        The two bodies.
    make : callable
        Builds the geometry, which is only wanted for pictures, files and the magnet.
    """

    contact: Contact
    number: int
    bodies: tuple[str, str]
    make: Callable[[], Shape] = field(repr=False)

    @property
    def name(self) -> str:
        """Unique in the map."""
        stem = f"{self.contact.kind} {self.contact.a} | {self.contact.b}"
        return stem if self.number == 1 else f"{stem} #{self.number}"

    @cached_property
    def shape(self) -> NamedShape:
        """The geometry under the patch's name, built when first asked for."""
        role = self.contact.role
        return NamedShape(name=self.name, role=role, geometry=self.make(), bodies=self.bodies)

    def sides_from(self, body: str) -> tuple[FaceRef, FaceRef]:
        """Return the two sides, that of one of the bodies first."""
        a, b = self.contact.a, self.contact.b
        return (a, b) if a.body == body else (b, a)

    def outward(self, body: str) -> Vector:
        """Return the normal out of one of the two bodies."""
        x, y, z = self.contact.normal
        return (x, y, z) if self.contact.a.body == body else (-x, -y, -z)

    def carried_to(
        self, names: Mapping[str, str], turn: NDArray[np.float64], shift: NDArray[np.float64]
    ) -> Patch:
        """Return the same patch between two other bodies that stand to each other as these do.

        Parameters
        ----------
        names : mapping of str to str
            Each body's name to that of its copy.
        turn, shift : ndarray, shape (3, 3) and (3,)
            What carries these bodies to the copies, mm.
        """
        old, sides = self.contact, [self.contact.a, self.contact.b]
        bodies = [names[b] for b in self.bodies]
        sides = [FaceRef.of(new, *side.faces) for new, side in zip(bodies, sides, strict=True)]
        normal = turn @ np.array(old.normal)
        if bodies[0] > bodies[1]:  # in the map the two bodies stand in the order of their names
            bodies, sides, normal = bodies[::-1], sides[::-1], -normal
        centroid = turn @ np.array(old.centroid) + shift
        return Patch(
            contact=replace(
                old, a=sides[0], b=sides[1], normal=to_vector(normal), centroid=to_vector(centroid)
            ),
            number=self.number,
            bodies=(bodies[0], bodies[1]),
            make=lambda: transformed(self.make(), turn, shift),
        )

    def outline_mm(self) -> NDArray[np.float64]:
        """Return points along the patch's outline, shape (n, 3): the ends of edges, more of round ones."""
        if self.contact.kind == ContactKind.POINT:
            return np.array([self.contact.centroid])
        edges = edges_of(cast("Shape", self.shape.geometry))
        return np.vstack([edge_points(e, 2 if is_straight(e) else 9) for e in edges])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Overlap:
    """Two bodies that occupy the same space: the common solid and its volume."""

    a: str
    b: str
    volume_mm3: float
    common: Shape
    shape: NamedShape


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ContactMap:
    """All patches of a set-up at one pose, and what interpenetrates.

    Parameters
    ----------
    patches : tuple of Patch
    overlaps : tuple of Overlap
    grazing : frozenset of frozenset of str
        Pairs of bodies that share space no deeper than bodies that touch may lie in each other.
    """

    patches: tuple[Patch, ...]
    overlaps: tuple[Overlap, ...]
    grazing: frozenset[frozenset[str]] = frozenset()

    def between(self, a: str, b: str) -> Iterator[Patch]:
        """Yield the patches between two bodies, whichever way round.

        Parameters
        ----------
        a, b : str
            Names of the two bodies.
        """
        for patch in self.patches:
            if set(patch.bodies) == {a, b}:
                yield patch

    def without(self, names: Collection[str]) -> ContactMap:
        """Return the map without what some bodies touch or share."""
        return ContactMap(
            patches=tuple(p for p in self.patches if not set(p.bodies) & set(names)),
            overlaps=tuple(o for o in self.overlaps if not {o.a, o.b} & set(names)),
            grazing=frozenset(pair for pair in self.grazing if not pair & set(names)),
        )


_SPOTS = 7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RawPatch:
    """A patch between face groups of two bodies A and B.

    Parameters
    ----------
    kind : ContactKind
        How the faces meet.
    a_faces, b_faces : tuple of int
        One face, or the faces that meet in the edge or corner that touches.
    normal : ndarray, shape (3,)
        Unit normal out of A into B.
    centroid : ndarray, shape (3,)
    make : callable
        Builds the patch's geometry.
    flat : tuple of PlaneFrame and polygon, or None
        The patch as a polygon in a plane, where it is one.
    ends : tuple of ndarray, or None
        The patch as a straight segment, where it is one.
    frayed : bool
        Whether the two outlines also meet along a line or at a point beside the patch.
    """

    kind: ContactKind
    a_faces: tuple[int, ...]
    b_faces: tuple[int, ...]
    normal: Floats
    centroid: Floats
    make: Callable[[], Shape]
    area_mm2: float = 0.0
    length_mm: float = 0.0
    gap_min_mm: float = 0.0
    gap_mean_mm: float = 0.0
    gap_max_mm: float = 0.0
    error_mm: float = 0.0
    flat: tuple[PlaneFrame, Any] | None = field(default=None, repr=False)
    ends: tuple[Floats, Floats] | None = None
    frayed: bool = False

    def holds(self, points: Floats, within_mm: float) -> NDArray[np.bool_]:
        """Say which of the points (n, 3) lie on the patch.

        Parameters
        ----------
        points : ndarray, shape (n, 3)
            Places in the frame of the patch, mm.
        within_mm : float
            How far a point may be from the patch; from its plane and from its outline, where it is a polygon.

        Returns
        -------
        ndarray of bool, shape (n,)
        """
        if self.flat is not None:
            frame, polygon = self.flat
            level = np.abs((points - frame.origin) @ frame.normal) <= within_mm
            spots = shapely.points(frame.flat(points))
            return np.asarray(level & (shapely.distance(polygon, spots) <= within_mm))
        if self.ends is not None:
            start, end = self.ends
            along = end - start
            share = np.clip((points - start) @ along / max(float(along @ along), 1e-30), 0.0, 1.0)
            off = points - start - share[:, None] * along
            return np.asarray(np.linalg.norm(off, axis=1) <= within_mm)
        shape = self.make()
        return np.array([is_within(vertex(p), shape, within_mm) for p in points], dtype=bool)

    def spots(self) -> Floats:
        """Return points (n, 3) that stand for a line or a point: where they lie, all of it does."""
        if self.ends is not None:
            return np.stack([self.ends[0], self.centroid, self.ends[1]])
        return edge_points(self.make(), _SPOTS)

    def turned(self) -> RawPatch:
        """Return the same patch seen from B."""
        return replace(self, a_faces=self.b_faces, b_faces=self.a_faces, normal=-self.normal)

    def moved(self, turn: Floats, shift: Floats) -> RawPatch:
        """Return the patch after x -> turn x + shift, for two bodies that stand to each other as these do.

        Parameters
        ----------
        turn, shift : ndarray, shape (3, 3) and (3,)
            Rotation, and shift in mm: x -> turn x + shift.

        Returns
        -------
        RawPatch
            Without its polygon in a plane: `flat` is None.
        """
        ends = None if self.ends is None else (turn @ self.ends[0] + shift, turn @ self.ends[1] + shift)
        return replace(
            self,
            normal=turn @ self.normal,
            centroid=turn @ self.centroid + shift,
            make=partial(_carried, self.make, turn, shift),
            flat=None,
            ends=ends,
        )


def _carried(make: Callable[[], Shape], turn: Floats, shift: Floats) -> Shape:
    return transformed(make(), turn, shift)


def drawn(shape: Shape) -> Callable[[], Shape]:
    """Return what builds a shape that is there already.

    Parameters
    ----------
    shape : Shape
        Anything that the kernel has built.

    Returns
    -------
    callable
        Takes nothing, and returns that shape.
    """
    return lambda: shape


def raw_point(a_faces: tuple[int, ...], b_faces: tuple[int, ...], normal: Floats, spot: Floats) -> RawPatch:
    """Return a point of contact; `normal` is the unit normal out of A.

    Parameters
    ----------
    a_faces, b_faces : tuple of int
        One face of either body, or the faces that meet in the edge or corner that touches.
    normal : ndarray, shape (3,)
        Unit normal out of A into B.
    spot : ndarray, shape (3,)
        Where they touch, mm.

    Returns
    -------
    RawPatch
    """
    return RawPatch(
        kind=ContactKind.POINT, a_faces=a_faces, b_faces=b_faces, normal=normal, centroid=spot,
        make=lambda: vertex(spot), ends=(spot, spot),
    )  # fmt: skip


def raw_segment(
    a_faces: tuple[int, ...], b_faces: tuple[int, ...], normal: Floats, ends: tuple[Floats, Floats]
) -> RawPatch:
    """Return a straight line of contact between two points.

    Parameters
    ----------
    a_faces, b_faces : tuple of int
        One face of either body, or the faces that meet in the edge or corner that touches.
    normal : ndarray, shape (3,)
        Unit normal out of A into B.
    ends : tuple of ndarray, shape (3,)
        First and last point of the line, mm.

    Returns
    -------
    RawPatch
    """
    start, end = ends
    return RawPatch(
        kind=ContactKind.LINE, a_faces=a_faces, b_faces=b_faces, normal=normal, centroid=(start + end) / 2,
        length_mm=float(np.linalg.norm(end - start)), make=lambda: segment(start, end), ends=ends,
    )  # fmt: skip


def raw_edge(
    a_faces: tuple[int, ...], b_faces: tuple[int, ...], normal: Floats, edge: Edge,
    ends: tuple[Floats, Floats] | None = None, error_mm: float = 0.0,
) -> RawPatch:  # fmt: skip
    """Return a line of contact along an edge; `ends` are given where it is straight.

    Parameters
    ----------
    a_faces, b_faces : tuple of int
        One face of either body, or the faces that meet in the edge or corner that touches.
    normal : ndarray, shape (3,)
        Unit normal out of A into B.
    edge : Edge
        The kernel's edge that the line is.
    ends : tuple of ndarray, shape (3,), or None
        First and last point where it is straight, mm.
    error_mm : float
        Greatest distance of the line from the other face, where it was measured.

    Returns
    -------
    RawPatch
    """
    return RawPatch(
        kind=ContactKind.LINE, a_faces=a_faces, b_faces=b_faces, normal=normal, centroid=edge_centre(edge),
        length_mm=edge_length_mm(edge), make=drawn(edge), ends=ends, error_mm=error_mm,
    )  # fmt: skip


def covered(points: Floats, patches: Iterable[RawPatch], within_mm: float) -> bool:
    """Say whether every one of the points (n, 3) lies on some patch, one patch or several together.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        Places, mm.
    patches : iterable of RawPatch
        In the same frame.
    within_mm : float
        How far a point may be from a patch and still lie on it.

    Returns
    -------
    bool
    """
    left = np.ones(len(points), dtype=bool)
    for patch in patches:
        left[left] = ~patch.holds(points[left], within_mm)
        if not left.any():
            return True
    return False
