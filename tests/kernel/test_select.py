"""Faces picked by selector, point and shape, against faces whose place is known."""

import cadquery as cq
import pytest

from fixturecheck.errors import SetupError
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.select import by_plane, by_point, by_selector, by_shape


@pytest.fixture(scope="module")
def block() -> cq.Solid:
    """A 40 x 30 x 20 block, base on z = 0, with a 10 mm hole through along Z."""
    return (
        cq.Workplane()
        .box(40, 30, 20, centered=(True, True, False))
        .faces(">Z")
        .workplane()
        .hole(10)
        .solids()
        .val()
    )


def test_selector_picks_the_top(block: cq.Solid) -> None:
    (i,) = by_selector(block, ">Z")
    assert faces_of(block)[i].Center().z == pytest.approx(20)
    assert faces_of(block)[i].Area() == pytest.approx(40 * 30 - 25 * 3.141592653589793)


def test_selector_may_pick_several(block: cq.Solid) -> None:
    indices = by_selector(block, "|X or |Y")
    assert len(indices) == 4
    assert list(indices) == sorted(indices)
    assert len(by_selector(block, "%CYLINDER")) == 1


@pytest.mark.parametrize("selector", ["%CONE", "upper", ">Q", "", ">Z[7]", "(>Z"])
def test_selector_that_means_nothing_is_named(block: cq.Solid, selector: str) -> None:
    with pytest.raises(SetupError) as caught:
        by_selector(block, selector)
    assert repr(selector) in str(caught.value)


def test_point_picks_the_nearest(block: cq.Solid) -> None:
    assert by_point(block, (12.0, 8.0, 20.5)) == by_selector(block, ">Z")
    assert by_point(block, (0.0, 4.0, 10.0)) == by_selector(block, "%CYLINDER")


def test_point_over_the_hole_is_no_point_of_the_top(block: cq.Solid) -> None:
    # 1 mm above the top in the middle of the hole: rim of the top and of the hole are equally near.
    with pytest.raises(SetupError, match="equally near"):
        by_point(block, (0.0, 0.0, 21.0))


def test_point_on_an_edge_fails_closed(block: cq.Solid) -> None:
    with pytest.raises(SetupError, match=r"\(20, 0, 20\).*off their common edge") as caught:
        by_point(block, (20.0, 0.0, 20.0))
    assert ", 10.000), 0 mm from both" in str(caught.value)
    # A micrometre off the edge is enough to decide.
    assert by_point(block, (20.0 - 1e-3, 0.0, 20.0)) == by_selector(block, ">Z")


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_point_that_is_not_finite_is_refused(block: cq.Solid, bad: float) -> None:
    with pytest.raises(SetupError, match="finite"):
        by_point(block, (bad, 0.0, 0.0))


def test_shape_is_found_by_identity_and_in_a_copy(block: cq.Solid) -> None:
    top = cq.Workplane(block).faces(">Z")
    assert by_shape(block, top) == by_selector(block, ">Z")
    assert by_shape(block, top.val()) == by_selector(block, ">Z")
    assert by_shape(block, [top.val(), cq.Workplane(block).faces("<Z")]) == by_selector(block, "|Z")
    assert by_shape(block.copy(), top) == by_selector(block.copy(), ">Z")


def test_shape_of_another_solid_is_refused(block: cq.Solid) -> None:
    other = cq.Workplane().box(40, 30, 21, centered=(True, True, False)).faces(">Z")
    with pytest.raises(SetupError, match="is no face of the solid"):
        by_shape(block, other)
    with pytest.raises(SetupError, match="got Solid"):
        by_shape(block, block)
    with pytest.raises(SetupError, match="no faces were given"):
        by_shape(block, [])


def test_plane_is_one_sided_and_exact(block: cq.Solid) -> None:
    assert by_plane(block, (0.0, 0.0, 5.0), (0.0, 0.0, 20.0)) == by_selector(block, ">Z")
    assert by_plane(block, (0.0, 0.0, -1.0), (0.0, 0.0, 20.0)) == ()
    assert by_plane(block, (0.0, 0.0, 1.0), (0.0, 0.0, 20.0 + 1e-5)) == ()
    assert by_plane(block, (0.0, 1e-4, 1.0), (0.0, 0.0, 20.0)) == ()


def test_plane_may_hold_several_faces(block: cq.Solid) -> None:
    slot = cq.Workplane().box(10, 40, 4).translate((0, 0, 20)).val()
    (parted,) = block.cut(slot).Solids()
    assert len(by_plane(parted, (0.0, 0.0, 1.0), (0.0, 0.0, 20.0))) == 2
