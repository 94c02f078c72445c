"""Whether what somebody drew is one closed, valid solid."""

from __future__ import annotations

import cadquery as cq
from OCP.BRep import BRep_Tool
from OCP.Standard import Standard_Failure
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp
from OCP.TopTools import TopTools_IndexedDataMapOfShapeListOfShape, TopTools_IndexedMapOfShape

from fixturecheck.errors import SetupError
from fixturecheck.kernel.shapes import Solid

_FLAT_MM3 = 1e-12


def one_solid(thing: object) -> Solid:
    """Return the single solid in what somebody drew.

    Parameters
    ----------
    thing : cadquery.Shape or cadquery.Workplane
        A solid, a compound of one solid, or a workplane whose stack or history holds one.

    Raises
    ------
    SetupError
        There is no solid in it, or more than one; the message says what there is.
    """
    if isinstance(thing, cq.Workplane):
        shapes = [v for v in thing.vals() if isinstance(v, cq.Shape)]
        if not any(s.Solids() for s in shapes):
            shapes = _history(thing)
    elif isinstance(thing, cq.Shape):
        shapes = [thing]
    else:
        message = f"a solid was expected, got {type(thing).__name__}; give a CadQuery solid or workplane"
        raise SetupError(message)
    solids = [solid for shape in shapes for solid in shape.Solids()]
    if len(solids) != 1:
        kinds = ", ".join(sorted({s.ShapeType().lower() for s in shapes})) or "nothing"
        message = f"one solid was expected, got {len(solids)} (in: {kinds}); give each body one closed solid"
        raise SetupError(message)
    return solids[0]


def flaw_of(solid: Solid) -> str | None:
    """Say what is wrong with a solid and what to do, or None when it is sound.

    Looks for an open surface, one that is inside out, no volume, and whatever the kernel's own
    validity check objects to.
    """
    try:
        open_edges = _open_edges(solid)
        if open_edges:
            return f"is open: {open_edges} edges have a face on one side only; stitch it into a closed solid"
        volume_mm3 = solid.Volume()
        if volume_mm3 < -_FLAT_MM3:
            return (
                f"is inside out: its volume is {volume_mm3:.6g} mm3 because its faces point inward; "
                "reverse the solid where it was drawn"
            )
        if volume_mm3 <= _FLAT_MM3:
            return "has no volume; give a solid, not a sheet"
        if not solid.isValid():
            return (
                "is not a valid solid by the kernel's own check; heal it where it was drawn and export again"
            )
    except Standard_Failure as reason:
        return f"could not be examined by the kernel ({reason}); heal it where it was drawn and export again"
    return None


def _history(workplane: cq.Workplane) -> list[cq.Shape]:
    """Return the solid that a workplane's chain was built on, when its stack holds faces or edges."""
    try:
        found = workplane.findSolid()
    except ValueError:
        return []
    return [found] if isinstance(found, cq.Shape) else []


def _open_edges(solid: Solid) -> int:
    """Count the edges with a face on one side only; seams and degenerate edges are not counted."""
    shells = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(solid.wrapped, TopAbs_ShapeEnum.TopAbs_SHELL, shells)
    if shells.Extent() and all(BRep_Tool.IsClosed_s(shells.FindKey(i + 1)) for i in range(shells.Extent())):
        return 0
    owners = TopTools_IndexedDataMapOfShapeListOfShape()
    TopExp.MapShapesAndAncestors_s(
        solid.wrapped, TopAbs_ShapeEnum.TopAbs_EDGE, TopAbs_ShapeEnum.TopAbs_FACE, owners
    )
    singles: int = sum(owners.FindFromIndex(i + 1).Extent() == 1 for i in range(owners.Extent()))
    return max(singles, 1)
