"""Marks on a drawn picture: arrows with words, and the colour scale of a hold."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from PIL import Image, ImageDraw

from fixturecheck.report.pictures.figures import Rgb, shaded
from fixturecheck.report.pictures.ink import (
    INK,
    PAPER,
    Board,
    Box,
    Canvas,
    around,
    axes,
    font_of,
    leader,
    legend,
    size_of,
    tags,
    titled,
)
from fixturecheck.wording.sentences import picture_text

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
    colour: Rgb = tuple(arrow["rgb"])
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
    box = board.find(*spot, *_label_size(draw, arrow["lines"]), least=18)
    if box is None:
        return
    colour: Rgb = tuple(arrow["rgb"])
    leader(draw, spot, box, colour)
    draw.rounded_rectangle(box, radius=8, fill=PAPER, outline=colour, width=4)
    _label(draw, box, arrow["lines"])
    board.write(box, spot)


def _label_fonts(lines: Sequence[str]) -> Iterator[tuple[str, Any]]:
    """Yield the lines of a label as they can be drawn, each with its letters, the first larger."""
    for n, line in enumerate(lines):
        yield picture_text(line), font_of(32 if n else 36)


def _label_size(draw: ImageDraw.ImageDraw, lines: Sequence[str]) -> tuple[float, float]:
    """Return width and height of the box round the lines of a label."""
    fonts = [*_label_fonts(lines)]
    width = max(size_of(draw, line, font)[0] for line, font in fonts) + 28
    return width, sum(font.size for _, font in fonts) * 1.2 + 16


def _label(draw: ImageDraw.ImageDraw, box: Box, lines: Sequence[str]) -> None:
    """Write the lines of a label into its box."""
    y = box[1] + 8
    for line, font in _label_fonts(lines):
        draw.text((box[0] + 14, y), line, font=font, fill=INK)
        y += font.size * 1.2


_BAR = (38, 300)
_TICKS = 5


def finish_scaled(canvas: Canvas) -> Image.Image:
    """Return the picture with the scale of its colours, its letters and words, names, axes and title."""
    draw = ImageDraw.Draw(canvas.picture)
    board = _board(canvas)
    axes(draw, canvas.projection, board)
    _colour_bar(draw, board, canvas.scene["scale"])
    _letters(draw, board, canvas)
    _notes(draw, board, canvas)
    tags(draw, canvas, board)
    return titled(canvas)


def _board(canvas: Canvas) -> Board:
    """Return an empty board on which covering what the colours stand for costs most."""
    kept = [i for i, a in enumerate(canvas.scene["actors"]) if "figure" in a]
    weight = 0.2 * (canvas.numbers >= 0) + 2.0 * np.isin(canvas.numbers, kept)
    return Board(width=canvas.picture.width, height=canvas.picture.height, weight=weight)


def _colour_bar(draw: ImageDraw.ImageDraw, board: Board, scale: dict[str, Any]) -> None:
    """Draw the scale in the upper corner that hides less: colours from zero below to the top above."""
    font, small = font_of(32), font_of(30)
    heads = [picture_text(scale["title"]), picture_text(scale["unit"])]
    width = max(size_of(draw, head, font)[0] for head in heads) + 36
    height = 2 * 40 + _BAR[1] + 64.0
    corners = [(14.0, 14.0), (board.width - width - 14, 14.0)]
    left, top = min(corners, key=lambda c: board.hidden((*c, c[0] + width, c[1] + height)))
    draw.rounded_rectangle(
        (left, top, left + width, top + height), radius=8, fill=PAPER, outline=(150, 156, 164), width=2
    )
    for i, head in enumerate(heads):
        draw.text((left + 18, top + 28 + 40 * i), head, font=font, fill=INK, anchor="lm")
    x, y = left + 22, top + 106
    for row, rgb in enumerate(shaded(np.linspace(1.0, 0.0, _BAR[1])).tolist()):
        draw.line((x, y + row, x + _BAR[0], y + row), fill=tuple(rgb))
    draw.rectangle((x, y, x + _BAR[0], y + _BAR[1]), outline=INK, width=2)
    for i in range(_TICKS + 1):
        at = y + _BAR[1] * (1 - i / _TICKS)
        draw.line((x + _BAR[0], at, x + _BAR[0] + 10, at), fill=INK, width=3)
        label = f"{scale['top'] * i / _TICKS:.3g}"
        draw.text((x + _BAR[0] + 18, at), label, font=small, fill=INK, anchor="lm")
    board.take((left, top, left + width, top + height))


def _letters(draw: ImageDraw.ImageDraw, board: Board, canvas: Canvas) -> None:
    """Write the letters of the poles on them, in rings, and keep all other words off the arrows.

    What lies outside the picture is left out.
    """
    for letter in canvas.scene.get("letters", []):
        x, y = canvas.projection.point(np.array(letter["at"]))
        y = min(y, canvas.picture.height - 34.0)
        if not 30 < x < canvas.picture.width - 30 or not board.is_free(around(x, y, 46, 46)):
            continue
        draw.ellipse(around(x, y, 46, 46), fill=PAPER, outline=INK, width=4)
        draw.text((x, y), letter["text"], font=font_of(32), fill=INK, anchor="mm")
        board.take(around(x, y, 46, 46))
    if "letters" in canvas.scene:
        # Places of a map weigh two and more.
        board.taken |= board.weight >= 2.0


def _notes(draw: ImageDraw.ImageDraw, board: Board, canvas: Canvas) -> None:
    """Write a few words beside each place: no words on a place or a line, and no line across words."""
    notes = canvas.scene["notes"]
    spots = [canvas.projection.point(np.array(note["at"])) for note in notes]
    for spot in spots:
        board.take(around(*spot, 16, 16))
    placed = []
    for note, spot in sorted(zip(notes, spots, strict=True), key=lambda pair: pair[1]):
        box = board.find(*spot, *_label_size(draw, note["lines"]), least=50)
        if box is not None:
            board.write(box, spot)
            placed.append((spot, box, note["lines"]))
    for spot, box, _ in placed:
        leader(draw, spot, box, INK)
        draw.ellipse(around(*spot, 12, 12), fill=INK)
    for _, box, lines in placed:
        draw.rounded_rectangle(box, radius=8, fill=PAPER, outline=INK, width=2)
        _label(draw, box, lines)
