"""Meshes of tetrahedra: their volume, what is meshed again, and what happens on a sliver."""

import os
import subprocess
import sys

import cadquery as cq
import numpy as np
import pytest

from fixturecheck import cache
from fixturecheck.errors import KernelError
from fixturecheck.kernel.mesh import tetrahedra
from fixturecheck.kernel.mesh.tetrahedra import MeshWish, TetMesher, shape_hash


def filleted():
    """A block with a fillet and a bore."""
    return cq.Workplane().box(20, 15, 10).edges("|Z").fillet(1.0).faces(">Z").workplane().hole(6.0).val()


def wedge(high_mm):
    """A wedge 30 mm long that is this high at its thick end."""
    return cq.Workplane("XZ").polyline([(0, 0), (30, 0), (30, high_mm)]).close().extrude(10).val()


def meshed(name, solid, size_mm, mesher=None):
    """The mesh of one solid."""
    wish = MeshWish(name=name, solid=solid, size_mm=size_mm)
    return (mesher or TetMesher()).meshes([wish])[0]


def test_a_small_fillet_does_not_fill_the_mesh_with_elements():
    """The volume stays within two per cent of the kernel's exact one, however coarse the fillet."""
    mesh = meshed("part", filleted(), 3.0)
    assert mesh.volume_mm3 == pytest.approx(filleted().Volume(), rel=0.02)
    assert len(mesh.tets) < 2500
    assert set(np.unique(mesh.facet_face)) == set(range(len(filleted().Faces())))


def test_like_solids_are_meshed_once_wherever_they_stand():
    mesher, solid = TetMesher(), filleted()
    moved = solid.moved(cq.Location((40, 5, 1)))
    assert shape_hash(solid) == shape_hash(moved)
    first, second = (meshed("part", s, 4.0, mesher) for s in (solid, moved))
    assert first is second


def test_a_sliver_that_no_size_can_mesh_is_refused_by_name():
    """A tenth of a micrometre high and 30 mm long: no tetrahedra come out, and none are made up."""
    with pytest.raises(KernelError, match=r"'shim' could not be meshed, not even with elements of 7\.68 mm"):
        meshed("shim", wedge(1e-4), 3.0)


def test_a_thin_wedge_is_meshed_whole():
    mesh = meshed("wedge", wedge(0.01), 3.0)
    assert mesh.volume_mm3 == pytest.approx(wedge(0.01).Volume(), rel=1e-6)


def test_a_mesh_that_had_to_be_coarser_says_its_size(monkeypatch):
    make, asked = tetrahedra._generate, []

    def trips_once(path, size_mm, *more):
        asked.append(size_mm)
        if len(asked) == 1:
            raise RuntimeError("tripped")
        return make(path, size_mm, *more)

    monkeypatch.setattr(tetrahedra, "_generate", trips_once)
    mesh = meshed("part", filleted(), 3.0)
    assert asked == pytest.approx([3.0, 4.8])
    assert mesh.size_mm == pytest.approx(4.8)


IN_COPIES = """
import cadquery as cq
from fixturecheck.kernel.mesh.tetrahedra import MeshWish, TetMesher
from fixturecheck.kernel.side_by_side import can_fork
from fixturecheck.threads import cores

solids = [cq.Workplane().box(20, 15, 10).val(), cq.Workplane().sphere(8).val()]
wishes = [MeshWish(name=str(n), solid=s, size_mm=4.0) for n, s in enumerate(solids)]
copied = TetMesher(copied=True).meshes(wishes)
assert can_fork() or cores() == 1
for one, other in zip(copied, TetMesher().meshes(wishes), strict=True):
    assert one.points_mm.tobytes() == other.points_mm.tobytes()
    assert one.tets.tobytes() == other.tets.tobytes()
"""


def test_copies_mesh_as_the_process_itself_does_and_leave_it_free_to_be_copied():
    """The mesher leaves a thread behind, and a process with threads must not be forked."""
    nothing_kept = {**os.environ, cache.FOLDER_VARIABLE: cache.OFF}
    subprocess.run([sys.executable, "-c", IN_COPIES], check=True, env=nothing_kept)
