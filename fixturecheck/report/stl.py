"""What goes into the stl folder: each body and region by itself, contact patches together by kind."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from pathlib import Path

from fixturecheck.kernel.mesh import Mesh, stl_bytes
from fixturecheck.result import NamedShape, Role

_TOGETHER = {Role.AREA: "contacts_area", Role.NEAR: "contacts_near", Role.POLE: "poles"}
"""Patches are many and have no thickness; two solids that share an edge would not be one watertight shell."""


def write_stl(folder: Path, shapes: tuple[NamedShape, ...], meshes: Mapping[str, Mesh]) -> list[str]:
    """Write one STL for each body and region, and one for each kind of contact patch.

    Lines and points have no triangles and appear in setup.step only.

    Returns
    -------
    list of str
        Names of the files written.
    """
    groups: dict[str, list[Mesh]] = defaultdict(list)
    for shape in shapes:
        mesh = meshes[shape.name]
        if len(mesh.triangles):
            groups[_TOGETHER.get(shape.role, shape.name)].append(mesh)
    folder.mkdir(parents=True, exist_ok=True)
    written: list[str] = []
    for name, members in groups.items():
        file_name = f"{file_stem(name)}.stl"
        if file_name in written:
            file_name = f"{file_stem(name)}_{len(written)}.stl"
        (folder / file_name).write_bytes(stl_bytes(members))
        written.append(file_name)
    return written


def file_stem(name: str) -> str:
    """Return a shape's name as a file name: letters, digits and `._-`, everything else `_`."""
    return "".join(c if c.isalnum() or c in "._-" else "_" for c in name)
