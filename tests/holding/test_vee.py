"""A bar in the magnetic V-block, nested and on edge: pull from the field, hold from the pull."""

import math
from dataclasses import replace

import pytest

from fixturecheck import Holding, Seat, Setup, body, equipment, place
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.kernel.construct import box
from fixturecheck.magnet.pull import FACE_ERROR_SHARE, LINE_ERROR_SHARE, magnet_of
from fixturecheck.magnet.rating import find_sources
from fixturecheck.setup.model import magnet_alone
from fixturecheck.shop.tables import finish
from tests.holding.rigs import let_go, rigged

pytestmark = pytest.mark.slow

RATED_N_CM2, SIDE, MU = 60.0, 10.0, 0.2
LEFT = 1.0 - finish("ground").lost_share
VEE = equipment("magnetic_v_block", name="vee", length_mm=40.0, width_mm=50.0, height_mm=40.0, land_mm=16.0)


STIFF = (0.016, 0.016)
"""Of a known source, so that finish and material alone part weak from strong."""


def bar(*, nested, long_mm=24.0, source_gap_mm=STIFF):
    """A square bar: two faces on the flanks, or upright on the two edges of its foot."""
    half = long_mm / 2
    if nested:
        solid, at = box((-half, 0, 0), (half, SIDE, SIDE)), place(rotate=[("x", 45)])
        faces = {"left": "<Y", "right": "<Z"}
    else:
        solid, at = box((-half, -SIDE / 2, 0), (half, SIDE / 2, SIDE)), place(at=(0, 0, SIDE / 2))
        faces = {"foot": "<Z"}
    part = body("bar", solid, at=at, material="steel_1018", finish="ground", faces=faces)
    seats = tuple(
        Seat(body="bar", face=side if nested else "foot", on=f"vee_{side}", on_face=f"{side}_flank")
        for side in ("left", "right")
    )
    return Setup(
        name="bar in the V-block",
        bodies=(*VEE, part),
        seats=seats,
        holding=Holding(magnet="full", rated_pull_n_cm2=RATED_N_CM2, source_gap_mm=source_gap_mm),
    )


def over_two(long_mm, gap_mm):
    """A nested bar over two such V-blocks end to end, its middle over the gap between them."""
    one = bar(nested=True, long_mm=long_mm)
    off = 20.0 + gap_mm / 2
    blocks = [
        replace(b, name=f"{name}_{b.name[4:]}", group=name, at=place(at=(x, 0, 0)))
        for name, x in (("vee", -off), ("second", off))
        for b in VEE
    ]
    seats = [replace(s, on=s.on.replace("vee", name)) for name in ("vee", "second") for s in one.seats]
    return replace(one, bodies=(*blocks, one.bodies[-1]), seats=tuple(seats))


def pulled(setup, mesher):
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    return magnet_of(setup, contacts, mesher).pulls(1.0)


@pytest.fixture(scope="module")
def pulls(mesher):
    return {nested: pulled(bar(nested=nested), mesher) for nested in (True, False)}


@pytest.fixture(scope="module")
def pulls_of_any_source(mesher):
    """Of the stiff source and the soft one that a magnet may have where nothing is known of it."""
    return {nested: pulled(bar(nested=nested, source_gap_mm=()), mesher) for nested in (True, False)}


def down_n(pulls):
    """Pull down on the bar at the weak end."""
    return -sum(f.weak_n * (f.toward[2] if f.a.startswith("bar") else -f.toward[2]) for f in pulls.on("bar"))


def test_a_bar_like_the_rating_piece_is_pulled_as_rated(mesher):
    """40 long like the piece, ground: what ground may mean, out of flat too, lies about the rated pull.

    A rating is per area of the piece's faces, groove and chamfer below them or not.
    """
    found = pulled(bar(nested=True, long_mm=40.0), mesher)
    rated_n = RATED_N_CM2 * 40.0 * SIDE / 100.0
    for face in found.faces:
        assert 0.65 * rated_n < face.weak_n < rated_n < face.strong_n < 1.25 * rated_n


def test_over_two_v_blocks_a_bar_is_pulled_as_each_half_over_one(mesher):
    """Symmetry: no flux crosses the middle between two like blocks, and each is rated by itself."""
    both = over_two(24.0, 4.0)
    half = bar(nested=True, long_mm=12.0)
    # Half of the bar over its own block, as far in from the end of that.
    half = replace(
        half, bodies=(*VEE, replace(half.bodies[-1], at=place(at=(-16, 0, 0), rotate=[("x", 45)])))
    )
    (source,), (alone,) = find_sources(both, mesher), find_sources(half, mesher)
    assert source.mmf_a == pytest.approx(alone.mmf_a, rel=1e-12)
    assert source.gap_mm == alone.gap_mm
    assert down_n(pulled(both, mesher)) == pytest.approx(2 * down_n(pulled(half, mesher)), rel=0.02)


def test_of_unlike_v_blocks_the_weaker_counts_and_the_stronger_is_the_most(mesher):
    """Either may be what the stated pull is of, so the range holds both ratings."""
    both = over_two(24.0, 4.0)
    broad = equipment("magnetic_v_block", name="second", length_mm=40.0, width_mm=60.0, height_mm=40.0)
    broad = [replace(b, at=place(at=(22, 0, 0))) for b in broad]
    unlike = replace(both, bodies=(*both.bodies[:2], *broad, both.bodies[-1]))
    alone = [find_sources(magnet_alone(unlike, of=name), mesher)[0].mmf_a for name in ("vee", "second")]
    (found,) = find_sources(unlike, mesher)
    assert found.mmf_a == min(alone)
    assert found.mmf_a * found.most_share == pytest.approx(max(alone))
    assert found.most_share > 1.01


def test_flux_enters_by_one_flank_and_leaves_by_the_other(pulls):
    one, other = pulls[True].faces
    assert one.weak_n == pytest.approx(other.weak_n, rel=0.03)
    for face in (one, other):
        assert abs(face.toward[2]) == pytest.approx(math.sqrt(0.5), abs=1e-3)
        assert face.low_share == pytest.approx((1.0 - FACE_ERROR_SHARE) * LEFT)


def test_on_edge_it_is_still_drawn_down_a_little(pulls):
    """Sign and order: common practice, no source. Flux crosses from one half to the other, at edges too."""
    assert 0.0 < down_n(pulls[False]) < 0.07 * down_n(pulls[True])
    assert all(f.low_share == pytest.approx((1.0 - LINE_ERROR_SHARE) * LEFT) for f in pulls[False].faces)


@pytest.mark.parametrize(
    ("source", "most"), [("pulls", 0.07), ("pulls_of_any_source", 0.10)], ids=["stiff", "any"]
)
@pytest.mark.parametrize("way", [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0)])
def test_on_edge_next_to_nothing_holds_it_sideways(request, source, way, most):
    """A tenth at most of what holds it nested: common practice, no source.

    A soft magnet drives far more flux over edges than a stiff one; one that is not known lies between.
    """
    held = {}
    for nested, found in request.getfixturevalue(source).items():
        top = (0.0, 0.0, SIDE * math.sqrt(2.0) if nested else 1.5 * SIDE)
        held[nested] = let_go(rigged(bar(nested=nested), found), "bar", way, top, mu=MU).factor.high
    assert 0.0 < held[False] < most * held[True]


def test_a_source_that_is_not_known_holds_a_bar_on_edge_no_better_at_the_low_end(pulls, pulls_of_any_source):
    """What counts is what the stiff source leaves; nested, rated as it is, either pulls alike."""
    assert down_n(pulls_of_any_source[False]) < 1.05 * down_n(pulls[False])
    assert 0.0 < down_n(pulls_of_any_source[False]) < 0.07 * down_n(pulls_of_any_source[True])


def test_nested_it_slides_along_at_friction_times_both_flanks(pulls, compared):
    """Statics: each flank carries its own pull and W cos 45; all of it slides."""
    middle = (0.0, 0.0, SIDE * math.sqrt(0.5))
    found = let_go(rigged(bar(nested=True), pulls[True]), "bar", (1.0, 0.0, 0.0), middle, mu=MU)
    weight_n = 7870e-9 * SIDE**2 * 24.0 * 9.80665
    # `let_go` takes finish and material in the middle.
    pull_n = sum(0.5 * (f.weak_n + f.strong_n) for f in pulls[True].on("bar"))
    slides = MU * (pull_n + 2 * weight_n * math.sqrt(0.5))
    # What it lies off by is on the safe side.
    assert 0.96 * slides < found.factor.low < 1.002 * slides
    compared("bar nested in the V slides along it", expected=slides, got=found.factor.low)
