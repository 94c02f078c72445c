"""Words on a drawn picture: title, names, numbers, scale, legend, each where nothing else stands."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from PIL import Image, ImageDraw, ImageFont
from scipy.ndimage import distance_transform_edt

from fixturecheck.report.pictures.figures import VERDICTS, Rgb, round_below
from fixturecheck.report.pictures.views import Projection
from fixturecheck.result.finding import Verdict
from fixturecheck.wording.sentences import picture_text

STEP = 4
"""Places are sought on a grid this many pixels wide."""

Box = tuple[float, float, float, float]
"""left, top, right, bottom in pixels."""

Point = tuple[float, float]
"""Right and down in pixels."""

_CROSSED = 10.0
"""What a line through other words or lines costs, against 1 for 300 pixels of way (chosen here)."""


def around(x: float, y: float, width: float, height: float) -> Box:
    """Return the box of a size centred on a point.

    Parameters
    ----------
    x, y : float
        Its middle in pixels, from the upper left corner of the picture.
    width, height : float
        Its size in pixels.

    Returns
    -------
    Box
        Left, top, right and bottom in pixels.
    """
    return x - width / 2, y - height / 2, x + width / 2, y + height / 2


class Board:
    """What is taken of a picture.

    Parameters
    ----------
    width, height : int
        Size of the picture in pixels.
    weight : ndarray, shape (height / STEP, width / STEP)
        How much a place would rather stay uncovered; zero is free.

    Attributes
    ----------
    words : list of Box
        The boxes of words that were written.
    """

    def __init__(self, *, width: int, height: int, weight: npt.NDArray[np.float64]) -> None:
        self.width = width
        self.height = height
        self.weight = weight
        self.taken = np.zeros(weight.shape, dtype=bool)
        self.words: list[Box] = []
        self._lines: list[tuple[Point, Point]] = []

    def take(self, box: Box, margin: float = 8.0) -> None:
        """Keep everything else out of a box.

        Parameters
        ----------
        box : Box
            Left, top, right and bottom in pixels.
        margin : float
            How far round the box is kept free too, in pixels.
        """
        rows, columns = self._cells(box, margin)
        self.taken[rows, columns] = True

    def write(self, box: Box, spot: Point | None = None) -> None:
        """Keep everything else out of a box of words, and off its line to the spot that it is about.

        Parameters
        ----------
        box : Box
            Left, top, right and bottom in pixels.
        spot : Point or None
            Where its line ends, in pixels; None where it has no line.
        """
        self.take(box)
        self.words.append(box)
        if spot is None or (end := nearest_of(box, spot)) == spot:
            return
        self._lines.append((spot, end))
        for share in np.linspace(0.0, 1.0, 12).tolist():
            at = [spot[k] + share * (end[k] - spot[k]) for k in (0, 1)]
            self.take(around(at[0], at[1], 8, 8), 0.0)

    def crossed(self, spot: Point, box: Box) -> int:
        """Count the words and lines that the line from a box to its spot would run through.

        Parameters
        ----------
        spot : Point
            Where the line ends, in pixels; inside the box there is no line.
        box : Box
            Left, top, right and bottom in pixels.
        """
        if (end := nearest_of(box, spot)) == spot:
            return 0
        line = shapely.LineString([spot, end])
        others = [*(shapely.box(*one) for one in self.words), *map(shapely.LineString, self._lines)]
        return int(shapely.intersects(line, others).sum())

    def is_free(self, box: Box) -> bool:
        """Tell whether a box lies in the picture and on nothing taken."""
        left, top, right, bottom = box
        if left < 6 or top < 6 or right > self.width - 6 or bottom > self.height - 6:
            return False
        rows, columns = self._cells(box, 0.0)
        return not self.taken[rows, columns].any()

    def hidden(self, box: Box) -> float:
        """Return how much a box would hide: taken places count most."""
        rows, columns = self._cells(box, 0.0)
        return float(self.weight[rows, columns].sum() + 10.0 * self.taken[rows, columns].sum())

    def upper_corner(self, size: tuple[float, float]) -> Box:
        """Return the box of a size in the upper corner where it hides less.

        Parameters
        ----------
        size : tuple of float
            Width and height in pixels.

        Returns
        -------
        Box
            On the left where both hide as much.
        """
        width, height = size
        boxes = [(x, 14.0, x + width, 14.0 + height) for x in (14.0, self.width - width - 14)]
        return min(boxes, key=self.hidden)

    def find(self, x: float, y: float, width: float, height: float, *, least: float) -> Box | None:
        """Return the best free box near a point, at least so far from it, or None.

        Near is better than far, and covering nothing is better than covering what the picture is about. A
        box whose line to the point would run through other words or lines is the last to be taken.

        Parameters
        ----------
        x, y : float
            The point, in pixels.
        width, height : float
            Size of the box in pixels.
        least : float
            Radius at which the search begins, in pixels; half the width is added sideways.
        """
        best: tuple[float, Box] | None = None
        for radius in range(0, 700, 28):
            for turn in range(0, 360, 15):
                angle = math.radians(turn)
                reach_x = (least + radius) * math.cos(angle) + math.copysign(width / 2, math.cos(angle))
                reach_y = (least + radius) * math.sin(angle)
                box = around(x + reach_x, y + reach_y, width, height)
                if not self.is_free(box):
                    continue
                rows, columns = self._cells(box, 0.0)
                cost = radius / 300.0 + float(self.weight[rows, columns].mean())
                if best is None or cost < best[0]:
                    cost += _CROSSED * self.crossed((x, y), box)
                if best is None or cost < best[0]:
                    best = cost, box
        return best[1] if best else None

    def _cells(self, box: Box, margin: float) -> tuple[slice, slice]:
        left, top, right, bottom = (round(v / STEP) for v in self._grown(box, margin))
        return slice(max(top, 0), max(bottom, 0) + 1), slice(max(left, 0), max(right, 0) + 1)

    @staticmethod
    def _grown(box: Box, margin: float) -> Box:
        left, top, right, bottom = box
        return left - margin, top - margin, right + margin, bottom + margin


def card(draw: ImageDraw.ImageDraw, board: Board, box: Box) -> None:
    """Draw the ground of a legend or a scale, and keep everything else out of it.

    Parameters
    ----------
    draw : ImageDraw
        The picture.
    board : Board
        What is taken of the picture.
    box : Box
        Where it lies.
    """
    draw.rounded_rectangle(box, radius=8, fill=PAPER, outline=(150, 156, 164), width=2)
    board.take(box)


def nearest_of(box: Box, spot: Point) -> Point:
    """Return the point of a box that is nearest to a spot.

    Parameters
    ----------
    box : Box
        Left, top, right and bottom in pixels.
    spot : Point
        x and y in pixels; inside the box it is the nearest itself.

    Returns
    -------
    Point
        x and y in pixels.
    """
    return min(max(spot[0], box[0]), box[2]), min(max(spot[1], box[1]), box[3])


def heart(mask: npt.NDArray[np.bool_]) -> tuple[float, float, float] | None:
    """Return the point of a region farthest from its border, and that distance, in pixels of the picture.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        The region on a grid of one place for every `STEP` pixels.

    Returns
    -------
    (float, float, float) or None
        x, y and distance; None where the region is empty.
    """
    if not mask.any():
        return None
    depth = distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1]
    row, column = np.unravel_index(int(np.argmax(depth)), depth.shape)
    return float(column) * STEP, float(row) * STEP, float(depth[row, column]) * STEP


INK: Rgb = (28, 34, 42)
PAPER: Rgb = (255, 255, 255)
STRIP = 76
INSET = (336, 231)
RING = 30.0
_HEAD = 34.0
"""Length of an arrow's head in pixels."""
_TAG = 36
_MOST_COVERED = 0.15
"""Share of a body as seen that its own name may cover; a smaller body is named beside it."""

_COVER_LAST = ("part", "rest", "collision", "overlap", "gouge", "leftover")
"""Roles that words keep off where there is other room."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Canvas:
    """A drawn picture with what is known about each of its pixels."""

    picture: Image.Image
    numbers: npt.NDArray[np.int64]
    projection: Projection
    scene: dict[str, Any]
    roles: frozenset[str] = frozenset()

    def board(self) -> Board:
        """Return an empty board on which covering a tagged body costs something, and a part most."""
        actors = list(enumerate(self.scene["actors"]))
        tagged = [i for i, a in actors if a["mesh"] in self.scene["tags"]]
        parts = [i for i, a in actors if a["role"] in _COVER_LAST]
        weight = 0.3 * (self.numbers >= 0) + 0.6 * np.isin(self.numbers, tagged)
        weight = weight + 2.5 * np.isin(self.numbers, parts)
        return Board(width=self.picture.width, height=self.picture.height, weight=weight)


def finish_overview(
    canvas: Canvas, small: Image.Image | None = None, small_view: Projection | None = None
) -> Image.Image:
    """Return the picture of the set-up with names, legend, axes and title.

    Parameters
    ----------
    canvas : Canvas
        The drawn picture; it is written on.
    small, small_view : Image and Projection, optional
        The whole, for the inset, where the picture is closer.

    Returns
    -------
    Image
        Higher than the drawn one by the strip with the title.
    """
    draw = ImageDraw.Draw(canvas.picture)
    board = canvas.board()
    if small is not None and small_view is not None:
        _inset(canvas.picture, board, small, small_view.point(canvas.projection.target), INK)
    axes(
        draw,
        canvas.projection,
        board,
        machine=canvas.scene.get("machine", True),
        letters_px=canvas.scene.get("letters_px", _LETTERS_PX),
        backed=small is not None,
    )
    legend(draw, board, canvas)
    tags(draw, canvas, board)
    return titled(canvas)


def finish_close_up(canvas: Canvas, small: Image.Image, small_view: Projection) -> Image.Image:
    """Return the picture of one spot with ring, arrow, callout, names, scale and the inset.

    Parameters
    ----------
    canvas : Canvas
        The drawn picture; it is written on.
    small : Image
        The whole set-up, for the inset.
    small_view : Projection
        The projection of `small`.

    Returns
    -------
    Image
        Higher than the drawn one by the strip with the title.
    """
    scene = canvas.scene
    draw = ImageDraw.Draw(canvas.picture)
    board = canvas.board()
    spot = canvas.projection.point(np.array(scene["spot"]))
    radius = min(max(scene["ring_mm"] * canvas.projection.pixels_per_mm, RING), 4 * RING)
    board.take(around(*spot, 2 * radius + 60, 2 * radius + 60))
    colour = VERDICTS[Verdict(scene["verdict"])]
    _inset(canvas.picture, board, small, small_view.point(np.array(scene["spot"])), colour)
    _scale(draw, canvas.projection, board, scene["units"])
    axes(draw, canvas.projection, board, small=True)
    legend(draw, board, canvas)
    _ring(draw, spot, radius, colour)
    if scene["arrow"] is not None:
        _arrow(draw, board, (*spot, radius), canvas.projection.arrow(np.array(scene["arrow"])), colour)
    _callout(draw, board, (*spot, radius), scene, colour)
    tags(draw, canvas, board)
    return titled(canvas)


def font_of(size: int) -> Any:
    """Return the built-in font in a size.

    Parameters
    ----------
    size : int
        Size of the letters in pixels.

    Returns
    -------
    font of PIL
        For texts drawn by PIL.
    """
    return ImageFont.load_default(size=size)


def size_of(draw: ImageDraw.ImageDraw, text: str, font: Any) -> tuple[float, float]:
    """Return the width and height of words in pixels.

    Parameters
    ----------
    draw : ImageDraw
        Draws on the picture.
    text : str
        Words to measure.
    font : font of PIL
        What they are set in.

    Returns
    -------
    (float, float)
        Width and height.
    """
    left, top, right, bottom = draw.textbbox((0, 0), text, font=font, anchor="la")
    return right - left, bottom - top


def titled(canvas: Canvas) -> Image.Image:
    """Put a strip on top: what the picture is about and, where it shows a finding, its verdict and number.

    Parameters
    ----------
    canvas : Canvas
        The drawn picture, which stays as it is.

    Returns
    -------
    Image
        Higher by `STRIP` pixels.
    """
    scene, picture = canvas.scene, canvas.picture
    whole = Image.new("RGB", (picture.width, picture.height + STRIP), PAPER)
    whole.paste(picture, (0, STRIP))
    draw = ImageDraw.Draw(whole)
    font = font_of(38)
    left = 22.0
    if scene["verdict"] is not None:
        left += _badge(draw, Verdict(scene["verdict"]), scene.get("counted_as"))
        if "number" in scene:
            _numeral(draw, (left + 24, STRIP / 2), scene["number"], VERDICTS[Verdict(scene["verdict"])])
            left += 64
    note = "section" if scene["cut"] else ""
    note_width = size_of(draw, note, font_of(30))[0] + 30 if note else 0
    draw.text((picture.width - 20, STRIP / 2), note, font=font_of(30), fill=INK, anchor="rm")
    title = _fitted(draw, picture_text(scene["title"]), font, picture.width - left - note_width - 20)
    draw.text((left, STRIP / 2), title, font=font, fill=INK, anchor="lm")
    draw.line((0, STRIP - 1, picture.width, STRIP - 1), fill=INK, width=2)
    return whole


def _badge(draw: ImageDraw.ImageDraw, verdict: Verdict, counted_as: str | None) -> float:
    """Write a verdict, by sign and word, at the left end of the strip; return its width.

    Where the set-up overrules it, what it is counted as stands beside it.
    """
    word, font = str(verdict).upper(), font_of(38)
    if counted_as is not None:
        word += f", counted as {counted_as.upper()}"
    width = size_of(draw, word, font)[0] + 96
    draw.rectangle((0, 0, width, STRIP - 1), fill=VERDICTS[verdict])
    _sign(draw, verdict, (42, STRIP / 2), 17)
    draw.text((74, STRIP / 2), word, font=font, fill=PAPER, anchor="lm")
    return width


def _fitted(draw: ImageDraw.ImageDraw, text: str, font: Any, width: float) -> str:
    if size_of(draw, text, font)[0] <= width:
        return text
    while text and size_of(draw, text + "...", font)[0] > width:
        text = text[:-1]
    return text + "..."


def _sign(draw: ImageDraw.ImageDraw, verdict: Verdict, at: tuple[float, float], r: float) -> None:
    """Draw the verdict's sign: a cross, a triangle, a tick or a question mark."""
    x, y = at
    if verdict is Verdict.NO_GO:
        draw.line((x - r, y - r, x + r, y + r), fill=PAPER, width=8)
        draw.line((x - r, y + r, x + r, y - r), fill=PAPER, width=8)
    elif verdict is Verdict.CAUTION:
        draw.polygon([(x, y - r), (x + 1.15 * r, y + r), (x - 1.15 * r, y + r)], fill=PAPER)
    elif verdict is Verdict.GO:
        points = [(x - r, y), (x - 0.25 * r, y + 0.75 * r), (x + r, y - 0.8 * r)]
        draw.line(points, fill=PAPER, width=8, joint="curve")
    else:
        draw.text(at, "?", font=font_of(44), fill=PAPER, anchor="mm")


def _numeral(draw: ImageDraw.ImageDraw, at: tuple[float, float], number: int, colour: Rgb) -> None:
    x, y = at
    draw.ellipse(around(x, y, 52, 52), outline=colour, width=5, fill=PAPER)
    draw.text(at, str(number), font=font_of(34 if number < 100 else 26), fill=INK, anchor="mm")


def _ring(draw: ImageDraw.ImageDraw, at: tuple[float, float], radius: float, colour: Rgb) -> None:
    box = around(*at, 2 * radius, 2 * radius)
    draw.ellipse(around(*at, 2 * radius + 6, 2 * radius + 6), outline=PAPER, width=10)
    draw.ellipse(box, outline=colour, width=5)


def _arrow(
    draw: ImageDraw.ImageDraw,
    board: Board,
    ring: tuple[float, float, float],
    way: tuple[float, float],
    colour: Rgb,
) -> None:
    """Draw an arrow that starts outside the ring; one that points at the viewer is a dotted circle."""
    x, y, radius = ring
    length = math.hypot(*way)
    if length < 0.3:
        draw.ellipse(around(x, y, 14, 14), fill=colour)
        return
    dx, dy = way[0] / length, way[1] / length
    start, end = radius + 12, radius + 128
    a, b = (x + start * dx, y + start * dy), (x + end * dx, y + end * dy)
    shaft(draw, a, b, colour, half_head=22, width=11)
    board.take((min(a[0], b[0]) - 22, min(a[1], b[1]) - 22, max(a[0], b[0]) + 22, max(a[1], b[1]) + 22), 0.0)


def shaft(
    draw: ImageDraw.ImageDraw, foot: Point, tip: Point, colour: Rgb, *, half_head: int, width: int
) -> None:
    """Draw an arrow with a border of paper.

    Parameters
    ----------
    draw : ImageDraw
        The picture.
    foot, tip : Point
        Its ends.
    colour : Rgb
        Its own.
    half_head : int
        How far its head stands out to either side, in pixels.
    width : int
        Of its shaft, in pixels.
    """
    long = math.dist(foot, tip)
    dx, dy = (tip[0] - foot[0]) / long, (tip[1] - foot[1]) / long
    neck = tip[0] - _HEAD * dx, tip[1] - _HEAD * dy
    across = half_head * dy, half_head * dx
    barbs = [tip, (neck[0] - across[0], neck[1] + across[1]), (neck[0] + across[0], neck[1] - across[1])]
    draw.line((*foot, *neck), fill=PAPER, width=width + 7)
    draw.polygon(barbs, fill=colour, outline=PAPER, width=3)
    draw.line((*foot, *neck), fill=colour, width=width)


def _callout(
    draw: ImageDraw.ImageDraw,
    board: Board,
    ring: tuple[float, float, float],
    scene: dict[str, Any],
    colour: Rgb,
) -> None:
    """Write number and limit beside the spot, with a line to it."""
    if not scene["callout"]:
        return
    label = Label(draw, scene["callout"], sizes=(48, 36), spacing_share=1.22, margins=(18, 14, 10))
    x, y, radius = ring
    box = board.find(x, y, *label.size, least=radius + 2 * RING)
    if box is None:
        return
    _leader(draw, (x, y), box, colour, radius)
    label.write(box, colour, 4, radius=10)
    board.write(box, (x, y))


class Label:
    """A few lines in a box, the first in larger letters.

    Parameters
    ----------
    draw : ImageDraw
        What it is drawn with.
    lines : sequence of str
        What it says.
    sizes : tuple of int
        Of the letters of the first line and of the others.
    spacing_share : float
        From line to line, in sizes of the letters.
    margins : tuple of int
        Beside the lines, above them and below, in pixels.
    """

    def __init__(
        self,
        draw: ImageDraw.ImageDraw,
        lines: Sequence[str],
        *,
        sizes: tuple[int, int],
        spacing_share: float,
        margins: tuple[int, int, int],
    ) -> None:
        self._draw, self._spacing, self._margins = draw, spacing_share, margins
        self._lines = [(picture_text(line), font_of(sizes[n > 0])) for n, line in enumerate(lines)]

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the box."""
        beside, above, below = self._margins
        width = max(size_of(self._draw, line, font)[0] for line, font in self._lines) + 2 * beside
        return width, sum(font.size for _, font in self._lines) * self._spacing + above + below

    def write(self, box: Box, outline: Rgb, width: int, *, radius: int = 8) -> None:
        """Draw the box and write the lines into it.

        Parameters
        ----------
        box : Box
            Where it lies.
        outline : Rgb
            Colour of its border.
        width : int
            Of its border, in pixels.
        radius : int
            Of its corners, in pixels.
        """
        self._draw.rounded_rectangle(box, radius=radius, fill=PAPER, outline=outline, width=width)
        y = box[1] + self._margins[1]
        for line, font in self._lines:
            self._draw.text((box[0] + self._margins[0], y), line, font=font, fill=INK)
            y += font.size * self._spacing


def leader(draw: ImageDraw.ImageDraw, at: tuple[float, float], box: Box, colour: Rgb) -> None:
    """Draw a line from a box of words to what they are about.

    Parameters
    ----------
    draw : ImageDraw
        Draws on the picture.
    at : tuple of float
        Pixel that the words are about; the line stops short of it.
    box : Box
        Left, top, right and bottom of the words in pixels.
    colour : Rgb
        Of the line.
    """
    _leader(draw, at, box, colour, 6.0)


def _leader(draw: ImageDraw.ImageDraw, at: tuple[float, float], box: Box, colour: Rgb, clear: float) -> None:
    """Draw a line from a box toward a point, stopping clear of it."""
    end = nearest_of(box, at)
    dx, dy = end[0] - at[0], end[1] - at[1]
    length = math.hypot(dx, dy)
    if length <= clear:
        return
    start = at[0] + dx / length * clear, at[1] + dy / length * clear
    draw.line((*start, *end), fill=PAPER, width=9)
    draw.line((*start, *end), fill=colour, width=4)


def tags(draw: ImageDraw.ImageDraw, canvas: Canvas, board: Board) -> None:
    """Write the bodies' names on them, or beside them with a line where they are too small.

    Parameters
    ----------
    draw : ImageDraw
        Draws on the picture.
    canvas : Canvas
        The picture with its scene, which lists the names.
    board : Board
        Where words may go; what is drawn is kept free of others.
    """
    placed = [(name, *where) for name in canvas.scene["tags"] if (where := _tag(draw, canvas, board, name))]
    # All lines first: none may cross a name.
    for _, (x, y), box in placed:
        if not (box[0] <= x <= box[2] and box[1] <= y <= box[3]):
            _leader(draw, (x, y), box, INK, 0.0)
            draw.ellipse(around(x, y, 12, 12), fill=INK)
    for name, _, box in placed:
        draw.rounded_rectangle(box, radius=8, fill=PAPER, outline=INK, width=2)
        middle = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
        draw.text(middle, _label(canvas, name), font=font_of(_TAG), fill=INK, anchor="mm")


def _tag(
    draw: ImageDraw.ImageDraw, canvas: Canvas, board: Board, name: str
) -> tuple[tuple[float, float], Box] | None:
    """Find a place for a body's name; return the point on the body and the box, or None."""
    number = next((i for i, a in enumerate(canvas.scene["actors"]) if a["mesh"] == name), None)
    body = canvas.numbers == number
    place = None if number is None else heart(body & ~board.taken) or heart(body)
    if place is None:
        return None
    x, y, room = place
    width = size_of(draw, _label(canvas, name), font_of(_TAG))[0] + 24
    box: Box | None = around(x, y, width, 50)
    small = width * 50 > _MOST_COVERED * float(body.sum()) * STEP**2
    if room < 28 or small or not board.is_free(around(x, y, width, 50)):
        box = board.find(x, y, width, 50, least=36)
    if box is None:
        return None
    board.write(box, (x, y))
    return (x, y), box


def _label(canvas: Canvas, name: str) -> str:
    """Return what is written on a body: its name, unless the scene says otherwise."""
    labels: dict[str, str] = canvas.scene.get("labels", {})
    return labels.get(name, name)


def legend(draw: ImageDraw.ImageDraw, board: Board, canvas: Canvas) -> None:
    """Draw the legend in the upper corner that hides less: a swatch and words for each kind shown.

    Parameters
    ----------
    draw : ImageDraw
        Draws on the picture.
    board : Board
        Where words may go; what is drawn is kept free of others.
    canvas : Canvas
        The picture with its scene, which lists the rows; those of roles not in sight are left out.
    """
    font = font_of(32)
    rows = [r for r in canvas.scene["legend"] if r.get("role") is None or r["role"] in canvas.roles]
    if not rows:
        return
    width = max(size_of(draw, picture_text(row["text"]), font)[0] for row in rows) + 76
    height = 8 + 46.0 * len(rows)
    box = board.upper_corner((width, height))
    left, top, _, _ = box
    card(draw, board, box)
    for i, row in enumerate(rows):
        y = top + 6 + 46 * i
        draw.rectangle((left + 12, y + 7, left + 44, y + 33), fill=tuple(row["rgb"]), outline=INK, width=2)
        draw.text((left + 56, y + 20), picture_text(row["text"]), font=font, fill=INK, anchor="lm")
    board.write(box)


_LETTERS_PX = 30
_SHORT, _SHORT_SMALL = 0.15, 0.35
"""Share of its length below which an axis points so nearly at the viewer that its letters hide another's."""


def axes(
    draw: ImageDraw.ImageDraw,
    view: Projection,
    board: Board,
    *,
    small: bool = False,
    machine: bool = True,
    letters_px: int = _LETTERS_PX,
    backed: bool = False,
) -> None:
    """Draw the axes in the lower left corner, each named at its positive end; X is the table's traverse.

    Small ones stand above the scale of a close-up and are named by their letters, as those of an assembly on
    no machine are. What fills the picture would hide the letters of those that are not backed with paper.

    Parameters
    ----------
    draw : ImageDraw
        Draws on the picture.
    view : Projection
        How the picture is looked at.
    board : Board
        Where words may go; what is drawn is kept free of others.
    small : bool
        Whether they are those of a close-up.
    machine : bool
        Whether X and Y are named as traverse and cross.
    letters_px : int
        Size of the letters, where not `small`.
    backed : bool
        Whether a box of paper lies behind them, where not `small`.
    """
    x, y, long = (104.0, view.height - 196.0, 40.0) if small else (130.0, view.height - 130.0, 92.0)
    words = ("+X", "+Y", "+Z") if small or not machine else ("+X traverse", "+Y cross", "+Z")
    if small:
        card(draw, board, around(x, y, 180, 180))
    else:
        board.take((0, y - 120, 350 * letters_px / _LETTERS_PX, view.height), 0.0)
        if backed:
            card(draw, board, (14.0, y - 136, 424.0, y + 86))
    for name, axis in zip(words, np.eye(3), strict=True):
        dx, dy = view.arrow(axis)
        length = math.hypot(dx, dy)
        if length < (_SHORT_SMALL if small else _SHORT):
            continue
        ends = [1.0, -1.0] if name == "+X traverse" else [1.0]
        for end in ends:
            tip = x + long * dx * end, y + long * dy * end
            draw.line((x, y, *tip), fill=INK, width=5)
            _head(draw, tip, (dx / length * end, dy / length * end))
        away = 30 if small else letters_px - 4
        at = x + long * dx + away * dx / length, y + long * dy + away * dy / length
        anchor = "lm" if dx > 0.2 and not small else "mm"
        draw.text(at, picture_text(name), font=font_of(26 if small else letters_px), fill=INK, anchor=anchor)


def _head(draw: ImageDraw.ImageDraw, tip: tuple[float, float], way: tuple[float, float]) -> None:
    x, y = tip
    dx, dy = way
    draw.polygon(
        [
            (x + 12 * dx, y + 12 * dy),
            (x - 10 * dx - 10 * dy, y - 10 * dy + 10 * dx),
            (x - 10 * dx + 10 * dy, y - 10 * dy - 10 * dx),
        ],
        fill=INK,
    )


def _scale(draw: ImageDraw.ImageDraw, view: Projection, board: Board, units: str) -> None:
    """Draw a bar of a round length in the lower left corner."""
    unit_mm, name = (25.4, "in") if units != "mm" else (1.0, "mm")
    longest = 0.2 * view.width / view.pixels_per_mm / unit_mm
    length = round_below(longest)
    pixels = length * unit_mm * view.pixels_per_mm
    x, y = 30.0, view.height - 34.0
    box = (14.0, y - 60, x + pixels + 18, view.height - 12.0)
    card(draw, board, box)
    draw.line((x, y, x + pixels, y), fill=INK, width=6)
    for end in (x, x + pixels):
        draw.line((end, y - 10, end, y + 10), fill=INK, width=4)
    draw.text((x, y - 34), f"{length:g} {name}", font=font_of(34), fill=INK, anchor="lm")


def _inset(
    picture: Image.Image, board: Board, small: Image.Image, at: tuple[float, float], colour: Rgb
) -> None:
    """Put the whole set-up, small, in the lower right corner, with a ring where the spot is."""
    width, height = INSET
    left, top = picture.width - width - 14, picture.height - height - 14
    inset = small.resize(INSET, Image.Resampling.LANCZOS)
    picture.paste(inset, (left, top))
    draw = ImageDraw.Draw(picture)
    draw.rectangle((left - 2, top - 2, left + width + 1, top + height + 1), outline=INK, width=3)
    ratio = width / small.width
    x = left + min(max(at[0] * ratio, 16), width - 16)
    y = top + min(max(at[1] * ratio, 16), height - 16)
    _ring(draw, (x, y), 15, colour)
    board.take((left, top, left + width, top + height))
