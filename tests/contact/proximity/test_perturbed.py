"""Features of bodies whose faces are out, against those that the kernel reads from solids made so."""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest
from scipy.optimize import nnls

from fixturecheck.contact.proximity.perturbed import FaceShift, features_over_low_steps, perturbed_features
from fixturecheck.kernel.brep.features import features_of
from fixturecheck.kernel.brep.topology import faces_of


def stepped(low_mm=8.0):
    """A block with a step, so with an inside corner."""
    return (
        cq.Workplane("XZ").polyline([(0, 0), (30, 0), (30, 20), (12, 20), (12, low_mm), (0, low_mm)]).close()
        .extrude(15).val()
    )  # fmt: skip


def remade(solid, features, errors):
    """The solid with its corners where its planes, as they are, meet three by three: solved here, by hand."""
    planes = {}
    for number, (origin, normal, _, _) in zip(features.plane_faces, features.planes, strict=True):
        error = errors.get(int(number))
        lean, shift = (np.zeros(3), 0.0) if error is None else (error.lean, error.shift_mm)
        middle = origin if error is None else error.middle_mm
        turned = normal - lean
        planes[int(number)] = turned, float(turned @ (middle + normal * shift))
    every = faces_of(solid)

    def moved(vertex):
        at = vertex.Center().toTuple()
        mine = [
            i for i, f in enumerate(every) if any(np.allclose(v.Center().toTuple(), at) for v in f.Vertices())
        ]
        return np.linalg.solve([planes[i][0] for i in mine], [planes[i][1] for i in mine])

    faces = []
    for face in every:
        wire = face.outerWire()
        corners = [cq.Vector(*moved(cq.Vertex.makeVertex(*e.startPoint().toTuple()))) for e in ordered(wire)]
        faces.append(cq.Face.makeFromWires(cq.Wire.makePolygon(corners, close=True)))
    made = cq.Solid.makeSolid(cq.Shell.makeShell(faces))
    return made if made.Volume() > 0 else cq.Solid(made.wrapped.Reversed())


def ordered(wire):
    """Edges of a wire of straight edges, each starting where the one before ends."""
    left = [cq.Edge.makeLine(e.startPoint(), e.endPoint()) for e in wire.Edges()]
    chain = [left.pop()]
    while left:
        end = chain[-1].endPoint()
        for i, edge in enumerate(left):
            if (edge.startPoint() - end).Length < 1e-7:
                chain.append(left.pop(i))
                break
            if (edge.endPoint() - end).Length < 1e-7:
                chain.append(cq.Edge.makeLine(edge.endPoint(), edge.startPoint()))
                left.pop(i)
                break
    return chain


def errors_of(features, seed):
    random = np.random.default_rng(seed)
    out = {}
    for number, (_, normal, x, y) in zip(features.plane_faces, features.planes, strict=True):
        slopes = random.uniform(-1e-3, 1e-3, 2)
        middle = features.points_mm[np.any(features.point_faces == number, axis=1)].mean(axis=0)
        assert abs(normal @ x) + abs(normal @ y) < 1e-9
        out[int(number)] = FaceShift(
            shift_mm=float(random.uniform(-0.02, 0.02)), lean=slopes[0] * x + slopes[1] * y, middle_mm=middle
        )
    return out


def at_corner(features, place):
    return int(np.argmin(np.linalg.norm(features.points_mm - place, axis=1)))


@pytest.mark.parametrize("solid", [cq.Workplane().box(30, 20, 10).val(), stepped()], ids=["box", "step"])
@pytest.mark.parametrize("seed", range(3))
def test_a_solid_with_leaning_faces_has_the_features_that_the_kernel_reads(solid, seed):
    drawn = features_of(solid)
    errors = errors_of(drawn, seed)
    ours, kernels = perturbed_features(drawn, errors), features_of(remade(solid, drawn, errors))
    assert near(ours.points_mm, kernels.points_mm)
    assert near(ours.planes[:, 1], kernels.planes[:, 1])
    offset = [np.einsum("ni,ni->n", f.planes[:, 0], f.planes[:, 1]) for f in (ours, kernels)]
    assert sorted(offset[0]) == pytest.approx(sorted(offset[1]), abs=1e-8)
    middle = [f.edges_mm.mean(axis=1) for f in (ours, kernels)]
    assert near(*middle)
    for i, place in enumerate(middle[0]):
        k = int(np.argmin(np.linalg.norm(middle[1] - place, axis=1)))
        assert near(ours.face_tangents[i], kernels.face_tangents[k], 1e-7)
        assert near(ours.edge_normals[i], kernels.edge_normals[k], 1e-8)
    for i, place in enumerate(ours.points_mm):
        k = at_corner(kernels, place)
        if np.hypot(place[0] - 12, place[2] - 8) < 0.1:
            continue  # no ways span a solid in its inside corner
        # Which ways are listed depends on whether a corner is a hair wider or narrower than square, the solid
        # that they span does not, but for a thousandth.
        mine = ours.tangent_cones[i][np.any(ours.tangent_cones[i] != 0, axis=1)]
        theirs = kernels.tangent_cones[k][np.any(kernels.tangent_cones[k] != 0, axis=1)]
        assert max(nnls(theirs.T, way)[1] for way in mine) < 3e-3
        assert max(nnls(mine.T, way)[1] for way in theirs) < 3e-3
        edges = [w for w in mine if np.abs(theirs - w).max(axis=1).min() < 1e-7]
        assert len(edges) >= 3
    borders = [np.concatenate([border(f, p) for p in range(len(f.planes))]) for f in (ours, kernels)]
    assert near(*borders, 1e-7)


def near(one, other, least=1e-8):
    """Whether each row of either is one of the other's."""
    away = np.linalg.norm(np.asarray(one)[:, None] - np.asarray(other)[None], axis=2)
    return bool(max(away.min(axis=0).max(), away.min(axis=1).max()) < least)


def border(features, plane):
    """Corners of a face's border."""
    origin, _, x, y = features.planes[plane]
    flat = features.outlines[plane].reshape(-1, 2)
    return origin + flat[:, :1] * x + flat[:, 1:] * y


def test_a_plane_that_runs_smoothly_into_a_cylinder_keeps_its_corners_near():
    solid = cq.Workplane().box(30, 20, 10).edges("|Z").fillet(4).val()
    drawn = features_of(solid)
    middle = {int(f): p[0] for f, p in zip(drawn.plane_faces, drawn.planes, strict=True)}
    errors = {
        f: FaceShift(shift_mm=0.01, lean=1e-3 * drawn.planes[i, 2], middle_mm=middle[f])
        for i, f in enumerate(map(int, drawn.plane_faces))
    }
    # A lean of 1e-3 over 30 mm and a shift of 10 um put no corner further than 50 um or so out.
    away = np.linalg.norm(perturbed_features(drawn, errors).points_mm - drawn.points_mm, axis=1)
    assert 0.005 < away.max() < 0.1


def test_where_more_than_three_faces_meet_the_largest_hold_the_corner():
    # The tip of a pyramid of six sides, whose planes no longer meet in one point.
    solid = cq.Workplane().polygon(6, 20).workplane(offset=10).polygon(6, 8).loft(combine=True).val()
    drawn = features_of(solid)
    top = int(np.argmax(drawn.planes[:, 1, 2]))
    errors = {
        int(f): FaceShift(shift_mm=0.005 * (i % 3), lean=np.zeros(3), middle_mm=drawn.planes[i, 0])
        for i, f in enumerate(drawn.plane_faces)
    }
    now = perturbed_features(drawn, errors)
    # Each corner of the top has three faces: it stays on the top's plane exactly.
    on_top = np.any(drawn.point_faces == drawn.plane_faces[top], axis=1)
    height = (now.points_mm[on_top] - now.planes[top, 0]) @ now.planes[top, 1]
    assert np.abs(height).max() < 1e-12


def test_a_step_lower_than_the_zones_turns_round_and_lets_either_corner_touch():
    low = 20.0 - 0.002
    drawn = features_of(stepped(low))
    inside = at_corner(drawn, (12, 0, low))
    lower = next(
        int(f)
        for f, p in zip(drawn.plane_faces, drawn.planes, strict=True)
        if p[1, 2] > 0.9 and abs(p[0, 2] - low) < 1e-6
    )
    up = np.array([0.0, 0.0, 1.0])

    def rises(features, corner):
        return float((features.tangent_cones[corner] @ up).max())

    # The lower tread runs up the riser at its inside corner; raised by 10 um it is the higher one.
    assert rises(drawn, inside) == pytest.approx(1.0)
    raised = {lower: FaceShift(shift_mm=0.010, lean=np.zeros(3), middle_mm=np.array([6.0, 0.0, low]))}
    assert rises(perturbed_features(drawn, raised), inside) == pytest.approx(0.0, abs=1e-9)
    assert rises(features_over_low_steps(drawn, 0.02), inside) == pytest.approx(0.0, abs=1e-9)
    assert rises(features_over_low_steps(drawn, 0.001), inside) == pytest.approx(1.0)


@pytest.mark.parametrize("shift_mm", [-0.1, 0.1])
def test_a_groove_whose_face_is_out_has_the_radius_that_the_kernel_reads(shift_mm):
    def grooved(radius_mm):
        return (
            cq.Workplane().box(40, 40, 10).translate((0, 0, -5)).val().cut(cq.Solid.makeTorus(10, radius_mm))
        )

    features = features_of(grooved(3.0))
    (one,) = features.swept
    # Outward of the solid is into the groove, which gets narrower.
    error = FaceShift(shift_mm=shift_mm, lean=np.zeros(3), middle_mm=np.zeros(3))
    (moved,) = perturbed_features(features, {one.face: error}).swept
    (read,) = features_of(grooved(3.0 - shift_mm)).swept
    assert [(r.kind, r.sign) for r in (moved, read)] == [("torus", -1), ("torus", -1)]
    assert moved.tube_mm == pytest.approx(read.tube_mm)
    assert moved.radius_a_mm == pytest.approx(read.radius_a_mm)


@pytest.mark.parametrize("shift_mm", [-0.1, 0.1])
@pytest.mark.parametrize("sign", [1, -1], ids=["convex", "concave"])
def test_a_cone_whose_face_is_out_has_the_radii_that_the_kernel_reads(sign, shift_mm):
    def made(more_mm):
        cone = cq.Solid.makeCone(10 + more_mm, 4 + more_mm, 20, cq.Vector(0, 0, -10))
        return cone if sign > 0 else cq.Workplane().box(40, 40, 20).val().cut(cone)

    # A cone that shifts along its normal gets wider by that over the cosine of its half angle.
    wider = shift_mm * np.hypot(1.0, 6.0 / 20.0)
    features, other = features_of(made(0.0)), features_of(made(sign * wider))
    (one,), (read,) = features.swept, other.swept
    moved = perturbed_features(
        features, {one.face: FaceShift(shift_mm=shift_mm, lean=np.zeros(3), middle_mm=np.zeros(3))}
    )
    (found,) = moved.swept
    assert [(r.kind, r.sign) for r in (found, read)] == [("cone", sign), ("cone", sign)]
    assert (found.radius_a_mm, found.radius_b_mm) == pytest.approx((read.radius_a_mm, read.radius_b_mm))
    assert sorted(r.radius_mm for r in moved.rims) == pytest.approx(sorted(r.radius_mm for r in other.rims))
