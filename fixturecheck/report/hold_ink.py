"""Writes onto a picture with a colour scale: the scale, letters on poles, words beside bodies."""

from __future__ import annotations

from typing import Any

import numpy as np
from PIL import Image, ImageDraw

from fixturecheck.report.figures import shaded
from fixturecheck.report.ink import (
    INK,
    PAPER,
    Canvas,
    axes,
    font_of,
    leader,
    plain,
    size_of,
    tags,
    titled,
)  # fmt: skip
from fixturecheck.report.placing import Board, around

_BAR = (38, 300)
_TICKS = 5


def finish_scaled(canvas: Canvas) -> Image.Image:
    """Return the picture with the scale of its colours, its letters and words, names, axes and title."""
    draw = ImageDraw.Draw(canvas.picture)
    board = _board(canvas)
    axes(draw, canvas.projection, board)
    _colour_bar(draw, board, canvas.scene["scale"])
    _letters(draw, board, canvas)
    for note in canvas.scene["notes"]:
        _note(draw, board, canvas, note)
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
    heads = [plain(scale["title"]), plain(scale["unit"])]
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
    """Write the letters of the poles on them, in rings; what lies outside the picture is left out."""
    for letter in canvas.scene.get("letters", []):
        x, y = canvas.projection.point(np.array(letter["at"]))
        y = min(y, canvas.picture.height - 34.0)
        if not 30 < x < canvas.picture.width - 30 or not board.is_free(around(x, y, 46, 46)):
            continue
        draw.ellipse(around(x, y, 46, 46), fill=PAPER, outline=INK, width=4)
        draw.text((x, y), letter["text"], font=font_of(32), fill=INK, anchor="mm")
        board.take(around(x, y, 46, 46))


def _note(draw: ImageDraw.ImageDraw, board: Board, canvas: Canvas, note: dict[str, Any]) -> None:
    """Write a few words beside a place, with a line to it."""
    spot = canvas.projection.point(np.array(note["at"]))
    lines = [plain(line) for line in note["lines"]]
    fonts = [font_of(36), *[font_of(32)] * (len(lines) - 1)]
    width = max(size_of(draw, line, font)[0] for line, font in zip(lines, fonts, strict=True)) + 28
    height = sum(f.size for f in fonts) * 1.2 + 16
    box = board.find(*spot, width, height, least=60)
    if box is None:
        return
    leader(draw, spot, box, INK)
    draw.ellipse(around(*spot, 12, 12), fill=INK)
    draw.rounded_rectangle(box, radius=8, fill=PAPER, outline=INK, width=2)
    y = box[1] + 8
    for line, font in zip(lines, fonts, strict=True):
        draw.text((box[0] + 14, y), line, font=font, fill=INK)
        y += font.size * 1.2
    board.take(box)
