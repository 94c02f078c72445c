"""A result as a notebook shows it: its page in a frame of its own, so that several do not meet."""

from __future__ import annotations

from html import escape

from fixturecheck.report.html import page
from fixturecheck.report.pictures.draw import drawing_of
from fixturecheck.report.pictures.figures import SIGNS
from fixturecheck.report.viewer.block import view_of
from fixturecheck.report.write import meshes_of
from fixturecheck.result import Result
from fixturecheck.setup.model import Setup

HEIGHT_PX = 640


def notebook_html(result: Result) -> str:
    """Return markup that shows verdict, tables and the 3-D view, and needs nothing but itself.

    A result that no check made, which has no set-up to show, is its verdict and name.
    """
    verdict = f"{SIGNS[result.verdict]} {str(result.verdict).upper()}: {result.name}"
    if not isinstance(result.setup, Setup):
        return f"<p>{escape(verdict)}</p>"
    meshes = meshes_of(result)
    view = view_of(result, result.setup, meshes, drawing_of(result, meshes))
    inside = page(result, result.setup, pictures={}, view=view)
    return (
        f'<iframe title="{escape(verdict)}" sandbox="allow-scripts" srcdoc="{escape(str(inside))}" '
        f'style="width: 100%; height: {HEIGHT_PX}px; border: 1px solid #888"></iframe>'
    )
