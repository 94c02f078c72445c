"""What the STEP writer does with awkward shapes and settings."""

from __future__ import annotations

from pathlib import Path

import cadquery as cq
import pytest

from fixturecheck.errors import KernelError
from fixturecheck.kernel.step import Named, read, write_step

GREY = (0.5, 0.5, 0.5)


def six(prefix: str) -> tuple[str, ...]:
    return tuple(f"{prefix}_{i}" for i in range(6))


def test_one_solid_twice_keeps_two_sets_of_names(tmp_path: Path) -> None:
    block = cq.Solid.makeBox(10, 20, 30)
    there = block.moved(cq.Location((50, 0, 7), (0, 0, 1), 30))
    pair = [
        Named(name="left", shape=block, rgb=GREY, face_names=six("l")),
        Named(name="right", shape=there, rgb=GREY, face_names=six("r")),
    ]
    write_step(tmp_path / "pair.step", "pair", pair)
    found = {s.name: s for s in read(tmp_path / "pair.step").solids}
    assert set(found["left"].faces) == set(six("l"))
    assert set(found["right"].faces) == set(six("r"))
    centre = found["right"].solid.Center()
    assert centre.toTuple() == pytest.approx(there.Center().toTuple(), abs=1e-9)


def place(face: cq.Face) -> str:
    return "at_" + "_".join(f"{v:.1f}" for v in face.Center().toTuple())


def test_names_stay_on_their_faces(tmp_path: Path) -> None:
    block = cq.Solid.makeBox(10, 20, 30)
    names = tuple(place(f) for f in block.Faces())
    write_step(tmp_path / "one.step", "one", [Named(name="one", shape=block, rgb=GREY, face_names=names)])
    (solid,) = read(tmp_path / "one.step").solids
    assert set(solid.faces) == set(names)
    for name, (index,) in solid.faces.items():
        assert name == place(solid.solid.Faces()[index])


def test_names_beyond_ascii_come_back(tmp_path: Path) -> None:
    names = tuple(f"Fl\u00e4che '{i}' #7" for i in range(6))
    block = Named(name="block", shape=cq.Solid.makeBox(1, 2, 3), rgb=GREY, face_names=names)
    write_step(tmp_path / "names.step", "names", [block])
    (solid,) = read(tmp_path / "names.step").solids
    assert set(solid.faces) == set(names)


def test_wrong_number_of_names_is_refused(tmp_path: Path) -> None:
    block = Named(name="block", shape=cq.Solid.makeBox(1, 2, 3), rgb=GREY, face_names=("a", "b"))
    with pytest.raises(KernelError, match="block could not be put into the STEP assembly"):
        write_step(tmp_path / "bad.step", "bad", [block])


def test_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    block = Named(name="block", shape=cq.Solid.makeBox(1, 2, 3), rgb=GREY)
    with pytest.raises(KernelError, match=r"could not write setup\.step"):
        write_step(tmp_path / "nowhere" / "setup.step", "x", [block])


def test_caller_s_solid_is_not_touched(tmp_path: Path) -> None:
    block = cq.Solid.makeBox(1, 2, 3).moved(cq.Location((4, 5, 6)))
    before = block.Center().toTuple()
    write_step(tmp_path / "a.step", "a", [Named(name="block", shape=block, rgb=GREY, face_names=six("f"))])
    assert block.Center().toTuple() == before
    assert block.isValid()
