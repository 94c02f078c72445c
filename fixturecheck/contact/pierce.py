"""Where an edge of one body runs through a flat face of another: bodies that start deep in each other.

Two flat-faced bodies whose borders cross have such a place, since faces cross along lines and lines end at
edges. What is no deeper than `DEEP_MM` is left to the gaps, which tell how to get out of it.
"""

from __future__ import annotations

from fixturecheck.compiled import Floats, Ints, along, cell, compiled, dot, minus
from fixturecheck.contact.candidates import Candidates, Scene
from fixturecheck.contact.look import asked, near
from fixturecheck.contact.posed import Edges, Planes, stand
from fixturecheck.contact.sharp import Book, over, written

DEEP_MM = 1.0
INSIDE_MM = 1e-3
"""A place this near to the border of a face is not taken as over it."""


def pierced(scene: Scene, rotation: Floats, origin_mm: Floats) -> Candidates:
    """Return a row for each edge that runs through a flat face of another body, of pairs with one loose.

    Parameters
    ----------
    rotation, origin_mm : ndarray, shape (n, 3, 3) and (n, 3)
        Poses of all bodies.

    Returns
    -------
    Candidates
        Gaps are negative: how far the nearer end of the edge is behind or before the face, mm.
    """
    low, high = scene.boxes(rotation, origin_mm)
    pairs = scene.pairs(low, high, 0.0)
    standing = stand(scene.bodies, rotation, origin_mm)
    return asked(_through, standing.edges, standing.planes, low, high, pairs)


@compiled
def _through(edges: Edges, planes: Planes, low_mm: Floats, high_mm: Floats, pairs: Ints, book: Book) -> Book:
    """Return every place where an edge of one of a pair runs through a flat face of the other."""
    for k in range(len(pairs)):
        for a, b in ((pairs[k, 0], pairs[k, 1]), (pairs[k, 1], pairs[k, 0])):
            some = near(planes.first, planes.middle_mm, planes.ball_mm, b, (low_mm[a], high_mm[a]), 0.0)
            for i in near(edges.first, edges.middle_mm, edges.ball_mm, a, (low_mm[b], high_mm[b]), 0.0):
                start, end = cell(edges.ends_mm, i, 0), cell(edges.ends_mm, i, 1)
                for j in some:
                    corner, normal = cell(planes.frame, j, 0), cell(planes.frame, j, 1)
                    from_mm, to_mm = dot(minus(start, corner), normal), dot(minus(end, corner), normal)
                    if min(from_mm, to_mm) >= -DEEP_MM or max(from_mm, to_mm) <= DEEP_MM:
                        continue
                    place = along(start, from_mm / (from_mm - to_mm), minus(end, start))
                    arm = minus(place, corner)
                    x, y = dot(arm, cell(planes.frame, j, 2)), dot(arm, cell(planes.frame, j, 3))
                    if _well_inside(planes, j, x, y):
                        deep = -min(abs(from_mm), abs(to_mm))
                        book = written(book, deep, normal, place, (a, edges.faces[i, 0]), (b, planes.face[j]))
    return book


@compiled
def _well_inside(planes: Planes, j: int, x: float, y: float) -> bool:
    """Tell whether a place, in a plane's coordinates, lies over the face and not near its border."""
    across = over(planes, j, x + INSIDE_MM, y) and over(planes, j, x - INSIDE_MM, y)
    return across and over(planes, j, x, y + INSIDE_MM) and over(planes, j, x, y - INSIDE_MM)
