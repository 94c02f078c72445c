"""Writes arrows with words onto a drawn picture: where something acts, which way, and how much."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from PIL import Image, ImageDraw

from fixturecheck.report.ink import (
    INK,
    PAPER,
    Canvas,
    Colour,
    axes,
    font_of,
    leader,
    legend,
    plain,
    size_of,
    tags,
    titled,
)
from fixturecheck.report.placing import Board, around

_LONG, _HEAD = 120.0, 34.0
_FLAT = 0.25
"""An arrow that lies less than this in the picture points at the viewer, and is drawn as a ring."""


def finish_arrows(canvas: Canvas) -> Image.Image:
    """Return the picture with all arrows of its scene, their words, names, axes, legend and title."""
    draw = ImageDraw.Draw(canvas.picture)
    board = canvas.board()
    axes(draw, canvas.projection, board)
    legend(draw, board, canvas)
    drawn = [(arrow, _draw(draw, board, canvas, arrow)) for arrow in canvas.scene["arrows"]]
    for arrow, spot in drawn:
        _words(draw, board, arrow, spot)
    tags(draw, canvas, board)
    return titled(canvas)


def _draw(
    draw: ImageDraw.ImageDraw, board: Board, canvas: Canvas, arrow: dict[str, Any]
) -> tuple[float, float]:
    """Draw one arrow; its head is at the place where it goes into a part, else its foot. Return its foot."""
    x, y = canvas.projection.point(np.array(arrow["at"]))
    way = canvas.projection.arrow(np.array(arrow["way"]))
    colour: Colour = tuple(arrow["rgb"])
    length = math.hypot(*way)
    if length < _FLAT:
        draw.ellipse(around(x, y, 34, 34), fill=PAPER, outline=colour, width=6)
        draw.ellipse(around(x, y, 12, 12), fill=colour)
        board.take(around(x, y, 34, 34))
        return x, y
    dx, dy = way[0] / length, way[1] / length
    back = _LONG if arrow["into"] else 0.0
    foot = (x - back * dx, y - back * dy)
    head = (foot[0] + _LONG * dx, foot[1] + _LONG * dy)
    neck = (head[0] - _HEAD * dx, head[1] - _HEAD * dy)
    barbs = [head, (neck[0] - 18 * dy, neck[1] + 18 * dx), (neck[0] + 18 * dy, neck[1] - 18 * dx)]
    draw.line((*foot, *neck), fill=PAPER, width=16)
    draw.polygon(barbs, fill=colour, outline=PAPER, width=3)
    draw.line((*foot, *neck), fill=colour, width=9)
    draw.ellipse(around(x, y, 14, 14), fill=colour, outline=PAPER, width=2)
    for share in np.linspace(0.0, 1.0, 7):
        board.take(around(foot[0] + share * _LONG * dx, foot[1] + share * _LONG * dy, 30, 30), 0.0)
    return foot if arrow["into"] else head


def _words(draw: ImageDraw.ImageDraw, board: Board, arrow: dict[str, Any], spot: tuple[float, float]) -> None:
    """Write the words of an arrow near its free end."""
    fonts = [font_of(36), *[font_of(32)] * (len(arrow["lines"]) - 1)]
    lines = [plain(line) for line in arrow["lines"]]
    width = max(size_of(draw, line, font)[0] for line, font in zip(lines, fonts, strict=True)) + 28
    height = sum(f.size for f in fonts) * 1.2 + 16
    box = board.find(*spot, width, height, least=18)
    if box is None:
        return
    colour: Colour = tuple(arrow["rgb"])
    leader(draw, spot, box, colour)
    draw.rounded_rectangle(box, radius=8, fill=PAPER, outline=colour, width=4)
    y = box[1] + 8
    for line, font in zip(lines, fonts, strict=True):
        draw.text((box[0] + 14, y), line, font=font, fill=INK)
        y += font.size * 1.2
    board.take(box)
