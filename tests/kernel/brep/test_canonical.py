"""The canonical form of a solid: the same bytes from every file of one shape, and the drawn shape itself."""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest
from OCP.BRepBuilderAPI import BRepBuilderAPI_Sewing

from fixturecheck.kernel.brep.canonical import canonical_form
from fixturecheck.kernel.brep.topology import brep_bytes, faces_of
from tests.kernel.brep.test_recognise import DRAWN, block


def saddle() -> cq.Workplane:
    return block().cut(cq.Workplane().sphere(6).translate((0, 0, 5)))


def hollow() -> cq.Workplane:
    return cq.Workplane().box(20, 20, 20).cut(cq.Workplane().box(10, 10, 10))


def slanted_cut() -> cq.Workplane:
    knife = cq.Workplane().box(40, 40, 20).rotate((0, 0, 0), (1, 0, 0), 20).translate((0, 0, 22))
    return cq.Workplane().circle(8).extrude(20).cut(knife)


SHAPES = {**DRAWN, "saddle": saddle, "hollow": hollow, "slanted cut": slanted_cut}


def solid_of(name: str) -> cq.Solid:
    return SHAPES[name]().findSolid().Solids()[0]


def through_step(solid: cq.Solid, folder) -> cq.Solid:
    """The solid written as STEP and read again."""
    path = str(folder / "solid.step")
    cq.exporters.export(cq.Workplane(solid), path)
    return cq.importers.importStep(path).findSolid().Solids()[0]


def sewn(solid: cq.Solid, seed: int) -> cq.Solid:
    """The same faces sewn together in another order."""
    faces = faces_of(solid)
    np.random.default_rng(seed).shuffle(faces)
    sewing = BRepBuilderAPI_Sewing(1e-6)
    for face in faces:
        sewing.Add(face.wrapped)
    sewing.Perform()
    made = cq.Solid.makeSolid(cq.Shape.cast(sewing.SewedShape()).Shells()[0])
    return made if made.Volume() > 0 else cq.Solid(made.wrapped.Reversed())


def turned_there_and_back(solid: cq.Solid) -> cq.Solid:
    """The same solid with every number a few last digits off."""
    return solid.rotate((0, 0, 0), (1, 2, 3), 33.0).rotate((0, 0, 0), (1, 2, 3), -33.0)


@pytest.mark.parametrize("name", SHAPES)
def test_every_file_of_one_shape_has_one_form(name, tmp_path):
    solid = solid_of(name)
    form = canonical_form(solid)
    wanted = brep_bytes(form.solid)
    others = [
        through_step(solid, tmp_path),
        turned_there_and_back(solid),
        solid.moved(cq.Location((7.3, -2.1, 40.7))),
    ]
    if len(faces_of(solid)) > 1 and name != "hollow":  # one face, or two skins, cannot be sewn
        others += [sewn(solid, 1), sewn(solid, 2)]
    # The drawn files differ: else this would show nothing.
    assert {brep_bytes(other) for other in others} != {brep_bytes(solid)}
    assert [brep_bytes(canonical_form(other).solid) == wanted for other in others] == [True] * len(others)


@pytest.mark.parametrize("name", SHAPES)
def test_the_form_is_the_shape_that_was_drawn_where_it_was_drawn(name):
    solid = solid_of(name).moved(cq.Location((7.3, -2.1, 40.7), (0, 0, 1), 30.0))
    form = canonical_form(solid)
    assert form.solid is not solid
    put = form.solid.moved(form.at)
    assert put.isValid()
    assert put.Volume() == pytest.approx(solid.Volume(), rel=1e-5)
    drawn = faces_of(solid)
    assert sorted(form.drawn_faces) == list(range(len(drawn)))
    for face, was in zip(faces_of(put), (drawn[i] for i in form.drawn_faces), strict=True):
        assert face.geomType() == was.geomType()
        assert face.Center().toTuple() == pytest.approx(was.Center().toTuple(), abs=1e-4)
        assert face.Area() == pytest.approx(was.Area(), rel=1e-5)


def test_what_cannot_be_built_anew_stays_as_drawn(monkeypatch):
    """Two corners at one place have no order: here a block so small that rounding makes its corners one."""
    speck = cq.Solid.makeBox(1e-4, 1e-4, 4e-7)
    form = canonical_form(speck)
    assert form.solid is speck
    assert form.drawn_faces == tuple(range(6))
    assert form.at.toTuple() == cq.Location().toTuple()
