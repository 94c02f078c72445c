"""STL files against trimesh: watertight, the right volume, the right place."""

from __future__ import annotations

from pathlib import Path

import pytest
import trimesh

from fixturecheck.report.write import file_names, meshes_of, write_stl
from tests.report import staged

RESULT = staged.result()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("stl")
    write_stl(folder, RESULT.shapes, meshes_of(RESULT))
    return folder


def test_one_file_for_each_solid_and_each_kind_of_patch(folder: Path) -> None:
    assert {p.stem for p in folder.iterdir()} == {
        "plate", "rail", "gib_1", "gib_2", "hit_guard_rail", "left_over_1", "wheel", "contacts_area",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("name", "tolerance"),
    [
        ("plate", 1e-6),
        ("rail", 1e-6),
        ("gib_2", 1e-6),
        ("hit_guard_rail", 1e-5),
        ("left_over_1", 1e-5),
        ("wheel", 1e-3),
    ],
)
def test_solids_are_watertight_and_true(folder: Path, name: str, tolerance: float) -> None:
    mesh = trimesh.load(folder / f"{name}.stl")
    solid = staged.shapes()[name].geometry
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(solid.Volume(), rel=tolerance)
    box = solid.BoundingBox()
    assert mesh.bounds.ravel().tolist() == pytest.approx(
        [box.xmin, box.ymin, box.zmin, box.xmax, box.ymax, box.zmax], abs=0.03
    )


def test_patches_have_their_area(folder: Path) -> None:
    patch = trimesh.load(folder / "contacts_area.stl")
    assert patch.area == pytest.approx(60 * 16, rel=1e-6)


@pytest.mark.parametrize(
    "name",
    ["x" * 300, "ä" * 300, "overlap a/b | c\\d", "..", ".hidden", "", "nul", "Aux.part", "tab\there\0"],
)
def test_any_name_makes_a_file(tmp_path: Path, name: str) -> None:
    """Most file systems take 255 bytes; Windows keeps some names (Microsoft, Naming Files, from memory)."""
    (file_name,) = file_names([name]).values()
    (tmp_path / file_name).write_bytes(b"")
    assert [p.name for p in tmp_path.iterdir()] == [file_name]
    assert len(file_name.encode()) <= 255 - 100
    assert not file_name.startswith(".")
    assert file_name.split(".")[0].lower() not in {"nul", "aux"}


def test_no_two_names_make_one_file() -> None:
    """Some file systems do not tell upper from lower case."""
    names = ["gib", "Gib", "gib_2", "a/b", "a:b", "x" * 300, "x" * 301]
    made = [n.lower() for n in file_names(names).values()]
    assert len(set(made)) == len(names)
