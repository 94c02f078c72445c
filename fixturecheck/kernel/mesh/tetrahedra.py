"""Which tetrahedra fill a solid, for field solutions; each solid and size is meshed once."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from OCP.BRepTools import BRepTools
from OCP.TopLoc import TopLoc_Location
from OCP.TopTools import TopTools_FormatVersion

from fixturecheck.arrays import Floats, Ints
from fixturecheck.cache import cached, digest, is_kept
from fixturecheck.errors import KernelError
from fixturecheck.kernel.shapes import Solid
from fixturecheck.kernel.side_by_side import Begun
from fixturecheck.threads import cores

_COARSER = 1.6
_TRIES = 3
# The least element as a share of the finest asked for: with none too small the mesher never ends on a
# sliver, and small fillets and chamfers far from any contact carry no flux that matters.
_LEAST_SHARE = 0.4
# How fast elements grow: slowly away from a line contact, whose flux crowds.
_GRADING = 0.5
_GRADING_FINE = 0.3
# Elements over the radius of a bend.
_CURVATURE_SAFETY = 1.0
# Points that ask for a finer mesh are rounded to this, so that noise does not mesh a solid again.
_ROUND_MM = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TetMesh:
    """Tetrahedra of one solid, in its own frame.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
    tets : ndarray of int, shape (m, 4)
    facets : ndarray of int, shape (k, 3)
        Triangles of the surface.
    facet_face : ndarray of int, shape (k,)
        Face of the solid under each triangle, in the order of `faces_of`.
    size_mm : float
        The size it was meshed with: larger than asked where the finer mesh failed.
    """

    points_mm: Floats
    tets: Ints
    facets: Ints
    facet_face: Ints
    size_mm: float

    @property
    def volume_mm3(self) -> float:
        """Volume of the tetrahedra; a little off the solid's where it is round."""
        corner = self.points_mm[self.tets]
        return float(np.abs(np.linalg.det(corner[:, 1:] - corner[:, :1])).sum() / 6)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeshWish:
    """How a solid should be meshed.

    Parameters
    ----------
    name : str
        Of the body, for messages.
    solid : Solid
        The solid; its mesh is in its own frame, whatever its placing.
    size_mm : float
        Largest element.
    face_size_mm : mapping of int to float
        Largest element on single faces, by index in `faces_of`.
    fine_points_mm : ndarray, shape (n, 3)
        Points in the solid's own frame around which elements are no larger than `fine_mm`.
    fine_mm : float
        See `fine_points_mm`.
    """

    name: str
    solid: Solid
    size_mm: float
    face_size_mm: Mapping[int, float] = field(default_factory=dict)
    fine_points_mm: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    fine_mm: float = 0.5


class TetMesher:
    """Meshes solids and remembers them by the hash of their geometry.

    Parameters
    ----------
    copied : bool
        Whether copies of this process mesh, one on each core. The mesher leaves a thread behind, after which
        no process may be copied any more.
    """

    def __init__(self, *, copied: bool = False) -> None:
        self._known: dict[str, TetMesh] = {}
        self._copied = copied

    @property
    def meshed(self) -> int:
        """How many meshes it remembers, which differ in solid or fineness."""
        return len(self._known)

    def meshes(self, wishes: Sequence[MeshWish]) -> list[TetMesh]:
        """Return the mesh of each solid.

        Parameters
        ----------
        wishes : sequence of MeshWish
            Solids drawn alike that are to be as fine are meshed once.

        Raises
        ------
        KernelError
            No mesh came out, even with coarser elements.
        """
        keys: list[str] = []
        left: dict[str, tuple[str, _Given]] = {}
        for wish in wishes:
            faces = dict(sorted(wish.face_size_mm.items()))
            points = np.unique(np.round(wish.fine_points_mm / _ROUND_MM), axis=0) * _ROUND_MM + 0.0
            drawn = _drawn(wish.solid)
            keys.append(digest(drawn, wish.size_mm, faces, points, wish.fine_mm))
            if keys[-1] not in self._known:
                given = drawn, wish.size_mm, faces, points, wish.fine_mm
                left.setdefault(keys[-1], (wish.name, given))
        fresh = [key for key, (_, given) in left.items() if self._copied and not is_kept(_generate, *given)]
        self._known |= _in_copies({key: partial(_try, *left[key]) for key in fresh})
        for key, (name, given) in left.items():
            if key not in self._known:
                self._known[key] = _try(name, given)
        return [self._known[key] for key in keys]


def _in_copies(works: Mapping[str, Callable[[], TetMesh]]) -> dict[str, TetMesh]:
    """Return what copies of this process mesh, one on each core."""
    if works:
        # Loaded before there are copies, each of which would load it.
        import netgen.occ  # noqa: F401, PLC0415 -- half a second that only a field solution should pay
    left, begun, found = dict(works), dict[str, Begun[TetMesh]](), dict[str, TetMesh]()
    try:
        while left or begun:
            while left and len(begun) < cores():
                key = next(iter(left))
                begun[key] = Begun(left.pop(key))
            first = next(iter(begun))
            found[first] = begun.pop(first).value()
    finally:
        for one in begun.values():
            one.end()
    return found


def shape_hash(solid: Solid) -> str:
    """Return what is the same for two solids drawn alike, wherever they are placed.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    str
    """
    return digest(_drawn(solid))


def _drawn(solid: Solid) -> bytes:
    """Return a solid in its own frame as the kernel writes it, without triangles that were drawn of it."""
    text = io.BytesIO()
    form = TopTools_FormatVersion.TopTools_FormatVersion_CURRENT
    BRepTools.Write_s(solid.wrapped.Located(TopLoc_Location()), text, False, False, form)
    return text.getvalue()


_Given = tuple[bytes, float, dict[int, float], Floats, float]
"""What `_generate` takes."""


def _try(name: str, given: _Given) -> TetMesh:
    """Mesh, with coarser elements when the mesher trips over a sliver."""
    drawn, size_mm, faces, points, fine_mm = given
    trouble: Exception | str = ""
    for attempt in range(_TRIES):
        size = size_mm * _COARSER**attempt
        sizes = faces if attempt == 0 else {}
        fine = fine_mm * _COARSER**attempt
        try:
            return _generate(drawn, size, sizes, points, fine)
        except Exception as error:  # noqa: BLE001 (the mesher raises bare exceptions of its own)
            trouble = error
    raise KernelError(
        f"body {name!r} could not be meshed, not even with elements of {size:.2f} mm: {trouble}"
    )


@cached
def _generate(
    drawn: bytes, size_mm: float, faces: dict[int, float], points: Floats, fine_mm: float
) -> TetMesh:
    # Imported here: the mesher costs half a second that only a field solution should pay.
    from netgen.meshing import MeshingParameters  # noqa: PLC0415 (see above)
    from netgen.occ import OCCGeometry  # noqa: PLC0415 (see above)

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "body.brep"
        path.write_bytes(drawn)
        geometry = OCCGeometry(str(path))
    if faces:
        shape = geometry.shape
        for index, size in faces.items():
            shape.faces[index].maxh = size
        geometry = OCCGeometry(shape)
    least = _LEAST_SHARE * min([size_mm, *faces.values(), *([fine_mm] if len(points) else [])])
    wish = MeshingParameters(
        maxh=size_mm,
        grading=_GRADING_FINE if len(points) else _GRADING,
        curvaturesafety=_CURVATURE_SAFETY,
        minh=least,
        # Its threads wait for each other in busy loops, which costs ten times the work on a busy machine.
        parallel_meshing=False,
    )
    for x, y, z in points:
        wish.RestrictH(float(x), float(y), float(z), fine_mm)
    mesh = geometry.GenerateMesh(mp=wish)
    return _arrays(mesh, size_mm)


def _arrays(mesh: Any, size_mm: float) -> TetMesh:
    # The mesher's arrays are views of memory that dies with the mesh; it counts from one.
    points = np.array(mesh.Coordinates(), dtype=np.float64)
    tets = np.array(mesh.Elements3D().NumPy()["nodes"], dtype=np.int64)[:, :4] - 1
    surface = mesh.Elements2D().NumPy()
    facets = np.array(surface["nodes"], dtype=np.int64)[:, :3] - 1
    face = np.array(surface["index"], dtype=np.int64) - 1
    if not len(tets):
        raise KernelError("the mesher returned no tetrahedra")
    corner = points[tets]
    if np.abs(np.linalg.det(corner[:, 1:] - corner[:, :1])).min() < 1e-12 * size_mm**3:
        raise KernelError("the mesh has a flat tetrahedron")
    return TetMesh(points_mm=points, tets=tets, facets=facets, facet_face=face, size_mm=size_mm)
