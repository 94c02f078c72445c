"""What goes into the stl folder: each body and region by itself, contact patches together by kind."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Mapping, Sequence
from pathlib import Path

from fixturecheck.kernel.mesh.triangles import Mesh, stl_bytes
from fixturecheck.result import NamedShape, Role

_TOGETHER = {Role.AREA: "contacts_area", Role.NEAR: "contacts_near", Role.POLE: "poles"}
"""Patches are many and have no thickness; two solids that share an edge would not be one watertight shell."""

_LONGEST_BYTES = 100
_DEVICES = frozenset({"con", "prn", "aux", "nul", *(f"{p}{n}" for p in ("com", "lpt") for n in range(1, 10))})
"""Names that Windows does not give to files, with any ending."""


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
    names = file_names(list(groups))
    for name, members in groups.items():
        (folder / names[name]).write_bytes(stl_bytes(members))
    return [*names.values()]


def file_names(shapes: Sequence[str]) -> dict[str, str]:
    """Return the file name of each shape: one that every system takes, no two alike, whatever their case."""
    found: dict[str, str] = {}
    taken: set[str] = set()
    for shape in shapes:
        stem = file_stem(shape)
        name, count = stem, 1
        while name.lower() in taken:
            count += 1
            name = f"{stem}_{count}"
        taken.add(name.lower())
        found[shape] = f"{name}.stl"
    return found


def file_stem(name: str) -> str:
    """Return a shape's name as a file name without its ending.

    It has letters, digits and `._-`, everything else is `_`; a long one is cut and ends in a digest of the
    whole, and one that a system keeps for its devices begins with `_`.
    """
    stem = "".join(c if c.isalnum() or c in "._-" else "_" for c in name)
    if len(stem.encode()) > _LONGEST_BYTES:
        digest = hashlib.sha256(name.encode()).hexdigest()[:8]
        stem = f"{stem.encode()[:_LONGEST_BYTES].decode(errors='ignore')}_{digest}"
    return f"_{stem}" if stem[:1] in {"", "."} or stem.split(".")[0].lower() in _DEVICES else stem
