"""Bench rows of the flux method, as ratios within one run; each returns numbers and prints nothing."""

import time

import cadquery as cq

from fixturecheck.kernel.mesh.tetrahedra import TetMesher
from fixturecheck.magnet.circuit import Fineness
from tests.magnet import fluxparts as parts

PITCH_MM = 13.0
SIDE_MM, TALL_MM = 25.0, 12.0
_AIR_COUNT = 2


def _timed(work):
    start = time.process_time()
    result = work()
    return result, time.process_time() - start


def row(count):
    """Poles of one drawing, side by side: alternately south and north."""
    drawn = parts.bars()
    solid = drawn[0].placed.solid.translate(cq.Vector(PITCH_MM / 2, 0, 0))
    places = [cq.Location(((i - (count - 1) / 2) * PITCH_MM, 0, 0)) for i in range(count)]
    return [parts.iron(f"pole{i}", solid.moved(at), pole=drawn[i % 2].pole) for i, at in enumerate(places)]


def gang(count=4):
    """Blocks of one drawing in a row, side against side."""
    block = parts.block(SIDE_MM, SIDE_MM, TALL_MM)
    places = [cq.Location(((i - (count - 1) / 2) * SIDE_MM, 0, 0)) for i in range(count)]
    return {f"part{i}": block.moved(at) for i, at in enumerate(places)}


def _built(solids, poles, size_mm=2.0, mesher=None):
    return parts.model(
        solids, poles, fineness=Fineness(size_mm=size_mm, band_mm=0.1), mesher=mesher or TetMesher()
    )


def _down(solution, names):
    return -sum(solution.body(n).force_n[2] for n in names)


def _full_air(size_mm):
    from tests.magnet import fullair

    half = _AIR_COUNT / 2 * SIDE_MM
    part = fullair.solid(box=(-half, -SIDE_MM / 2, 0, half, SIDE_MM / 2, TALL_MM))
    poles = []
    for i in range(2 * _AIR_COUNT):
        x = (i - _AIR_COUNT + 0.5) * PITCH_MM
        poles.append((fullair.solid(box=(x - 5, -20, -10, x + 5, 20, 0)), 1 if i % 2 else -1))
    found, took_s = _timed(
        lambda: fullair.flat_pull(
            part,
            poles,
            [parts.MILD, parts.MILD],
            gap_um=5.0,
            mmf_a=100.0,
            source_gap_mm=0.064,
            size_mm=size_mm,
        )
    )
    return found[0], took_s


def flux_vs_full_air(our_mm=2.0, our_fine_mm=1.4, their_mm=(6.0, 4.5)):
    """Full field with air over our own, for a gang as one bar, at like error of force.

    Two parts on four poles. Four on eight take the full field ten minutes on a busy machine, and the ratio
    grows with the unknowns: a direct factor of the air costs more than in proportion.

    The errors are those of the mesh: against our own finer mesh, and against the reference's.
    """
    bar = {"bar": parts.block(_AIR_COUNT * SIDE_MM, SIDE_MM, TALL_MM)}

    def ours(size_mm):
        return _timed(lambda: _down(_built(bar, row(2 * _AIR_COUNT), size_mm).solve(), bar))

    (force, ours_s), (fine, _) = ours(our_mm), ours(our_fine_mm)
    theirs = [_full_air(size) for size in their_mm]
    truth = theirs[-1][0]
    return {
        "ratio": theirs[0][1] / ours_s,
        "ours_s": ours_s,
        "theirs_s": [s for _, s in theirs],
        "our_mesh_off": force / fine - 1,
        "their_mesh_off": theirs[0][0] / truth - 1,
        "share_off": force / truth - 1,
    }


def flux_vs_mesh():
    """Solving over meshing and coupling, for a gang of four on eight poles; each drawing is meshed once."""
    solids, poles = gang(), row(8)
    mesher = TetMesher()
    built, mesh_s = _timed(lambda: _built(solids, poles, mesher=mesher))
    solution, solve_s = _timed(built.solve)
    return {"ratio": solve_s / mesh_s, "unknowns": solution.unknowns, "meshed": mesher.meshed}


def flux_long_vs_short():
    """Meshing and solving parts of 120 and 160 mm over one of 30 mm, each on the poles that it covers."""

    def took_s(length_mm, poles):
        part = {"part": parts.block(length_mm, SIDE_MM, TALL_MM)}
        return _timed(lambda: _built(part, row(poles)).solve())[1]

    short_s = took_s(30.0, 3)
    return {"ratio": max(took_s(120.0, 9), took_s(160.0, 13)) / short_s}


def flux_edit():
    """Putting the model together after one block of the gang has moved, over the first time."""
    mesher, solids, poles = TetMesher(), gang(), row(8)
    _, first_s = _timed(lambda: _built(solids, poles, mesher=mesher))
    made = mesher.meshed
    solids["part3"] = solids["part3"].moved(cq.Location((1.5, 2.0, 0.0)))
    _, again_s = _timed(lambda: _built(solids, poles, mesher=mesher))
    return {"ratio": again_s / first_s, "meshed_again": mesher.meshed - made}
