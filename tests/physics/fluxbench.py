"""Bench rows of the flux method, as ratios within one run; each returns numbers and prints nothing."""

import time

import cadquery as cq

from fixturecheck.kernel.femesh import TetMesher
from tests.physics import fluxparts as parts


def _timed(work):
    start = time.process_time()
    result = work()
    return result, time.process_time() - start


def flux_vs_full_air():
    """Full field with air over our own, both without symmetry, and how far the two forces differ."""
    from tests.physics import fullair

    solid = parts.block(25, 25, 12)
    force, ours_s = _timed(lambda: -parts.hold({"part": solid}, parts.bars())[2])
    poles = [(fullair.solid(box=(x - 5, -20, -10, x + 5, 20, 0)), sign) for x, sign in ((-6.5, -1), (6.5, 1))]
    part = fullair.solid(box=(-12.5, -12.5, 0, 12.5, 12.5, 12))
    laws = [parts.MILD, parts.MILD]
    (truth, _), full_s = _timed(
        lambda: fullair.flat_pull(part, poles, laws, gap_um=5.0, mmf_a=100.0, source_gap_mm=0.064)
    )
    return {"ratio": full_s / ours_s, "share_off": force / truth - 1}


def flux_vs_mesh():
    """Solving over meshing, for a 25 mm block on two poles."""
    built, mesh_s = _timed(lambda: parts.model({"part": parts.block(25, 25, 12)}, parts.bars()))
    _, solve_s = _timed(built.solve)
    return {"ratio": solve_s / mesh_s}


def flux_edit():
    """Putting the model together after a block has moved, over the first time; and meshes made anew."""
    mesher = TetMesher()
    part = parts.block(25, 25, 12)
    _, first_s = _timed(lambda: parts.model({"part": part}, parts.bars(), mesher=mesher))
    made = mesher.meshed
    moved = part.moved(cq.Location((1.5, 2.0, 0.0)))
    _, again_s = _timed(lambda: parts.model({"part": moved}, parts.bars(), mesher=mesher))
    return {"ratio": again_s / first_s, "meshed_again": mesher.meshed - made}
