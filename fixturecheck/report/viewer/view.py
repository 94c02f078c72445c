"""The 3-D view as the page takes it: three pieces of text."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files

SCRIPTS = ("maths.js", "scene.js", "paint.js", "hand.js", "panel.js", "main.js")
"""In the order in which they are put together; each uses only what stands before it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewerMarkup:
    """The pieces that the page puts where they belong.

    Parameters
    ----------
    style : str
        What goes into the page's style sheet.
    place : str
        The markup of the view.
    script : str
        Its data with the script, for the end of the page.
    """

    style: str
    place: str
    script: str


def view_with(data: str) -> ViewerMarkup:
    """Return the view that shows some packed data.

    Parameters
    ----------
    data : str
        What `packed_view` returned.
    """
    return ViewerMarkup(
        style=_text("view.css"),
        place=_text("place.html"),
        script=(f'<script type="text/plain" id="view-data">{data}</script>\n<script>\n{script()}\n</script>'),
    )


def script() -> str:
    """Return the whole script, closed in itself."""
    pieces = "\n".join(_text(name) for name in SCRIPTS)
    return f'"use strict";\n(() => {{\n{pieces}\n}})();'


def _text(name: str) -> str:
    return files("fixturecheck.report.viewer").joinpath(name).read_text(encoding="utf-8").strip()
