"""What goes into setup.step: every body and every region, named and coloured."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import cast

from fixturecheck.kernel.shapes import Shape
from fixturecheck.kernel.step.write import Named, Rgb, write_step
from fixturecheck.report.colours import body_colours
from fixturecheck.report.part21 import settled
from fixturecheck.result import Result, Role
from fixturecheck.setup.model import Setup


def write_setup_step(path: Path, result: Result, setup: Setup) -> None:
    """Write a result's shapes as one AP242 assembly; bodies keep the names of their faces.

    Raises
    ------
    KernelError
        The kernel could not write the file.
    """
    write_step(path, result.name, list(_components(result, setup)))
    path.write_text(settled(path.read_text(encoding="utf-8")), encoding="utf-8")


def _components(result: Result, setup: Setup) -> Iterator[Named]:
    """Yield one component for every shape of the result."""
    names = {body.name: tuple(body.face_names()) for body in setup.bodies}
    colours = body_colours(result.shapes)
    for shape in result.shapes:
        red, green, blue = colours[shape.name]
        rgb: Rgb = (red / 255, green / 255, blue / 255)
        faces = names.get(shape.name, ()) if shape.role in (Role.PART, Role.FIXTURE) else ()
        yield Named(name=shape.name, shape=cast("Shape", shape.geometry), rgb=rgb, face_names=faces)
