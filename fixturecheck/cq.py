"""Doors for users of CadQuery assemblies: a set-up out of an assembly, and a result drawn into one."""

from __future__ import annotations

import cadquery as cq

from fixturecheck.report.pictures.figures import ROLES
from fixturecheck.result import Result
from fixturecheck.result.shapes import Role
from fixturecheck.setup.load import setup_from_assembly

__all__ = ["annotate", "setup_from_assembly"]

_BODIES = (Role.PART, Role.FIXTURE)


def annotate(assembly: cq.Assembly, result: Result) -> cq.Assembly:
    """Return a new assembly: the one given, and beside it what the check found, named and coloured.

    Parameters
    ----------
    assembly : cadquery.Assembly
        What was checked; it is not changed.
    result : Result
        What `fixturecheck.check` found.

    Returns
    -------
    cadquery.Assembly
        A copy of `assembly` under its own name, and a node `found` whose children are the contact
        patches, collisions, leftovers and gouges under the names that the result gives them.
    """
    found = cq.Assembly(name="found")
    for shape in result.shapes:
        if shape.role in _BODIES or not isinstance(shape.geometry, cq.Shape):
            continue
        red, green, blue = (channel / 255 for channel in ROLES[shape.role])
        found.add(shape.geometry, name=shape.name, color=cq.Color(red, green, blue))
    whole = cq.Assembly(name=f"{assembly.name}_checked")
    return whole.add(assembly).add(found)
