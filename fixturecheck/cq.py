"""Doors for those who draw in CadQuery: out of an assembly, into an assembly, onto their screen."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from importlib import import_module

import cadquery as cq

from fixturecheck.engine import check
from fixturecheck.errors import SetupError
from fixturecheck.report.pictures.figures import body_colours
from fixturecheck.report.terminal import table
from fixturecheck.report.viewer.things import LAYER_OF, LAYERS
from fixturecheck.result import Result
from fixturecheck.result.shapes import BODIES
from fixturecheck.setup.load import KEY, setup_from_assembly
from fixturecheck.setup.model import Setup
from fixturecheck.touching import assembled, surveyed

__all__ = ["annotate", "check_here", "contacts", "setup_from_assembly", "show"]


def contacts(assembly: object, *, within_mm: float = 0.5, name: str = "") -> Result:
    """Tell what touches, clears and overlaps in an assembly, and what each body is free to do.

    No set-up is needed. `Result.touching` holds the pairs and the freedoms, `Result.contacts` every patch.

    Parameters
    ----------
    assembly : object
        A `cadquery.Assembly`; a shape or workplane of several solids; an assembly or shape of build123d, or
        of any library whose shapes hold the kernel's own in `wrapped`; a mapping of names to such, or a list;
        or the path of a STEP file.
    within_mm : float
        The gap of bodies that are no further apart than this is told.
    name : str
        What the whole is called; its own name where this is empty.

    Returns
    -------
    Result
        No-go where bodies overlap.

    Raises
    ------
    SetupError
        There are fewer than two solids in it, or something that is not a solid.
    """
    return surveyed(assembled(assembly, within_mm=within_mm, name=name))


def check_here(assembly: object, *, within_mm: float = 0.5) -> Result:
    """Check what a script has drawn so far, print what was found, and return it.

    Parameters
    ----------
    assembly : object
        An assembly that states a set-up in its metadata, or a `Setup`: it is checked. Anything else that
        `contacts` takes: its bodies are looked at alone.
    within_mm : float
        As for `contacts`.

    Returns
    -------
    Result
        What was found.

    Raises
    ------
    SetupError
        It cannot be checked.
    """
    if isinstance(assembly, Setup):
        result = check(assembly)
    elif isinstance(assembly, cq.Assembly) and KEY in assembly.metadata:
        result = check(setup_from_assembly(assembly))
    else:
        result = contacts(assembly, within_mm=within_mm)
    sys.stdout.write(f"{table(result)}\n")
    return result


def annotate(assembly: cq.Assembly, result: Result) -> cq.Assembly:
    """Return a new assembly: the one given, and beside it what was found, named and coloured, in layers.

    Parameters
    ----------
    assembly : cadquery.Assembly
        What was checked; it is not changed.
    result : Result
        What `fixturecheck.check` or `contacts` found.

    Returns
    -------
    cadquery.Assembly
        A copy of `assembly` under its own name, and a node `found`. Its children are layers, such as
        `contacts`, `small gaps` and `overlap, collision, gouge, leftover`; theirs are the shapes under the
        names that the result gives them.
    """
    whole = cq.Assembly(name=f"{assembly.name}_checked")
    return whole.add(assembly).add(_found_shapes(result))


def _found_shapes(result: Result) -> cq.Assembly:
    """Return what was found, without the bodies, in layers."""
    colours, layers = body_colours(result.shapes), dict[str, cq.Assembly]()
    for shape in result.shapes:
        if shape.role in BODIES or not isinstance(shape.geometry, cq.Shape):
            continue
        words = LAYERS[LAYER_OF[shape.role]]
        layer = layers.setdefault(words, cq.Assembly(name=words))
        layer.add(shape.geometry, name=shape.name, color=_colour(colours[shape.name]))
    found = cq.Assembly(name="found")
    for layer in layers.values():
        found.add(layer)
    return found


def _drawn(result: Result) -> cq.Assembly:
    """Return the bodies, coloured, and what was found."""
    colours, whole = body_colours(result.shapes), cq.Assembly(name=result.name)
    bodies = cq.Assembly(name="bodies")
    for shape in result.shapes:
        if shape.role in BODIES and isinstance(shape.geometry, cq.Shape):
            bodies.add(shape.geometry, name=shape.name, color=_colour(colours[shape.name], _SEEN_THROUGH))
    return whole.add(bodies).add(_found_shapes(result))


_SEEN_THROUGH = 0.45
"""Opacity of bodies, so that what lies between them shows."""


def _colour(rgb: tuple[int, int, int], opacity_share: float = 1.0) -> cq.Color:
    red, green, blue = (channel / 255 for channel in rgb)
    return cq.Color(red, green, blue, opacity_share)


VIEWERS: Mapping[str, str] = {
    "jupyter_cadquery": "jupyter_cadquery",
    "ocp_vscode": "ocp_vscode",
    "cadquery": "cadquery.vis",
}
"""The viewers that `show` knows, by name, with the module whose `show` takes an assembly."""


def show(result: Result, viewer: str | None = None) -> str:
    """Show bodies and what was found, coloured and in layers, in a viewer that is installed.

    Parameters
    ----------
    result : Result
        What `fixturecheck.check` or `contacts` found.
    viewer : str, optional
        `jupyter_cadquery` in a notebook, `ocp_vscode`, or `cadquery` for its own window. Without it the first
        that is installed, the first of these only where a notebook runs.

    Returns
    -------
    str
        The viewer that was used.

    Raises
    ------
    SetupError
        It is not known, or not installed.
    """
    if viewer is not None and viewer not in VIEWERS:
        raise SetupError(f"viewer {viewer!r} is not known; use {', '.join(VIEWERS)}")
    wanted = (
        [viewer] if viewer else [name for name in VIEWERS if name != "jupyter_cadquery" or _in_notebook()]
    )
    for name in wanted:
        drawn_by = _show_of(VIEWERS[name])
        if drawn_by is not None:
            drawn_by(_drawn(result))
            return name
    raise SetupError(f"{' and '.join(wanted)} cannot be imported; install it with pip")


def _show_of(module: str) -> Callable[[cq.Assembly], object] | None:
    """Return the function of a viewer; None where it is not installed."""
    try:
        found: Callable[[cq.Assembly], object] = import_module(module).show
    except ImportError:
        return None
    return found


def _in_notebook() -> bool:
    return "ipykernel" in sys.modules
