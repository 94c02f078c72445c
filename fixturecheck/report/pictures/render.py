"""Draws pictures off screen, in a process of its own: `python -m fixturecheck.report.pictures.render`.

It reads the path of a job file from standard input, draws every scene of the job, and answers with one
line of JSON for each. It needs no kernel, and if the machine cannot draw, only this process dies.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import vtkmodules.vtkRenderingOpenGL2  # noqa: F401 -- registers the classes that draw
from PIL import Image, ImageDraw
from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray, vtk_to_numpy
from vtkmodules.vtkCommonCore import vtkPoints, vtkUnsignedCharArray
from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPlane, vtkPlaneCollection, vtkPolyData
from vtkmodules.vtkFiltersCore import vtkCutter
from vtkmodules.vtkFiltersGeneral import vtkClipClosedSurface
from vtkmodules.vtkRenderingCore import vtkActor, vtkLight, vtkPolyDataMapper, vtkRenderer, vtkRenderWindow

from fixturecheck.arrays import Floats
from fixturecheck.report.pictures.figures import Rgb, shaded
from fixturecheck.report.pictures.ink import (
    INK,
    PAPER,
    STEP,
    Board,
    Canvas,
    Label,
    around,
    axes,
    card,
    finish_close_up,
    finish_overview,
    font_of,
    leader,
    legend,
    shaft,
    size_of,
    tags,
    titled,
)
from fixturecheck.report.pictures.views import Projection
from fixturecheck.wording.sentences import picture_text

_LONG = 120.0
_FLAT = 0.25
"""An arrow that lies less than this in the picture points at the viewer, and is drawn as a ring."""
_BAR = (38, 300)
_TICKS = 5
WIDTH, HEIGHT = 1200, 824
_SHIFT = 0.002
_SAME_RGB, _FEW_PIXELS = 8, 40
"""A line or a dot is unlit, so its own colour stands in the picture wherever it is seen."""


def _finish_arrows(canvas: Canvas) -> Image.Image:
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
    shaft(draw, foot, head, colour, half_head=18, width=9)
    draw.ellipse(around(x, y, 14, 14), fill=colour, outline=PAPER, width=2)
    for share in np.linspace(0.0, 1.0, 7):
        board.take(around(foot[0] + share * _LONG * dx, foot[1] + share * _LONG * dy, 30, 30), 0.0)
    return foot if arrow["into"] else head


def _words(draw: ImageDraw.ImageDraw, board: Board, arrow: dict[str, Any], spot: tuple[float, float]) -> None:
    """Write the words of an arrow near its free end."""
    label = _label(draw, arrow["lines"])
    box = board.find(*spot, *label.size, least=18)
    if box is None:
        return
    colour: Rgb = tuple(arrow["rgb"])
    leader(draw, spot, box, colour)
    label.write(box, colour, 4)
    board.write(box, spot)


def _label(draw: ImageDraw.ImageDraw, lines: Sequence[str]) -> Label:
    return Label(draw, lines, sizes=(36, 32), spacing_share=1.2, margins=(14, 8, 8))


def _finish_scaled(canvas: Canvas) -> Image.Image:
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
    box = board.upper_corner((width, height))
    left, top, _, _ = box
    card(draw, board, box)
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
        label = _label(draw, note["lines"])
        box = board.find(*spot, *label.size, least=50)
        if box is not None:
            board.write(box, spot)
            placed.append((spot, box, label))
    for spot, box, _ in placed:
        leader(draw, spot, box, INK)
        draw.ellipse(around(*spot, 12, 12), fill=INK)
    for _, box, label in placed:
        label.write(box, INK, 2)


class Drawer:
    """Keeps one window and the meshes of a job; draws one scene after another."""

    def __init__(self, meshes: dict[str, npt.NDArray[Any]]) -> None:
        self._meshes = meshes
        self._made: dict[str, tuple[Any, Any]] = {}
        self._window = _window(WIDTH, HEIGHT, samples=4)
        self._small = _window(WIDTH // STEP, HEIGHT // STEP, samples=0)

    def draw(self, scene: dict[str, Any]) -> tuple[Image.Image, npt.NDArray[np.int64], frozenset[str]]:
        """Draw one scene.

        Returns
        -------
        picture : Image
        numbers : ndarray of int, shape (height / STEP, width / STEP)
            Number of the opaque actor seen at each place, or -1.
        roles : frozenset of str
            Roles of the actors that can be seen anywhere in the picture.
        """
        renderer = vtkRenderer()
        renderer.SetBackground(0.957, 0.961, 0.965)
        self._light(renderer, scene["camera"])
        surfaces = [
            (self._add_figure if "figure" in actor else self._add)(renderer, actor, scene)
            for actor in scene["actors"]
        ]
        _aim(renderer, scene["camera"])
        picture = _grab(self._window, renderer)
        if picture.std() < 1.0:
            raise RuntimeError("the picture came out empty")
        numbers = self._numbers(surfaces, scene["camera"])
        return Image.fromarray(picture), numbers, self._roles(picture, numbers, surfaces, scene)

    def _roles(
        self,
        picture: npt.NDArray[np.uint8],
        numbers: npt.NDArray[np.int64],
        surfaces: list[Any],
        scene: dict[str, Any],
    ) -> frozenset[str]:
        """Return the roles seen: solids by number, ghosts each alone, lines and dots by their colour."""
        seen = {scene["actors"][i]["role"] for i in np.unique(numbers[numbers >= 0]).tolist()}
        for actor, surface in zip(scene["actors"], surfaces, strict=True):
            if actor["role"] in seen:
                continue
            if actor["opacity"] < 1.0:
                alone = bool((self._numbers([surface], scene["camera"], ghosts=True) >= 0).any())
            else:
                apart = np.abs(picture.astype(np.int64) - np.array(actor["rgb"])).max(axis=2)
                alone = not actor["solid"] and int((apart <= _SAME_RGB).sum()) >= _FEW_PIXELS
            if alone:
                seen.add(actor["role"])
        return frozenset(seen)

    def _numbers(
        self, surfaces: list[Any], camera: dict[str, Any], *, ghosts: bool = False
    ) -> npt.NDArray[np.int64]:
        """Draw once more, small, each solid in a flat colour that is its number."""
        renderer = vtkRenderer()
        renderer.SetBackground(0.0, 0.0, 0.0)
        for i, surface in enumerate(surfaces):
            if surface.GetProperty().GetOpacity() < 1.0 and not ghosts:
                continue
            mapper = vtkPolyDataMapper()
            mapper.SetInputData(surface.GetMapper().GetInput())
            mapper.ScalarVisibilityOff()
            flat = vtkActor()
            flat.SetMapper(mapper)
            flat.SetPosition(*surface.GetPosition())
            flat.GetProperty().LightingOff()
            flat.GetProperty().SetColor(1.0, ((i + 1) // 250) / 255.0, ((i + 1) % 250) / 255.0)
            renderer.AddActor(flat)
        _aim(renderer, camera)
        seen = _grab(self._small, renderer).astype(np.int64)
        return np.where(seen[:, :, 0] == 255, seen[:, :, 1] * 250 + seen[:, :, 2] - 1, -1)

    @staticmethod
    def _light(renderer: Any, camera: dict[str, Any]) -> None:
        """Light from over the viewer's left shoulder, with a weaker one from the right."""
        eye, up = np.array(camera["eye"]), np.array(camera["up"])
        right = np.cross(up, eye)
        renderer.AutomaticLightCreationOff()
        for place, strength in ((eye + 0.5 * up - 0.5 * right, 0.82), (eye - 0.2 * up + 0.9 * right, 0.5)):
            light = vtkLight()
            light.SetLightTypeToSceneLight()
            light.SetPosition(*(place * 1e4))
            light.SetFocalPoint(0.0, 0.0, 0.0)
            light.SetIntensity(strength)
            renderer.AddLight(light)

    def _add(self, renderer: Any, actor: dict[str, Any], scene: dict[str, Any]) -> Any:
        """Add one shape: its surface and its edges, cut open where the scene asks for it."""
        name, rgb = actor["mesh"], [c / 255.0 for c in actor["rgb"]]
        camera = scene["camera"]
        surface, lines = self._geometry(name, actor.get("move"))
        # What shares faces lies in layers a hair apart: patches and regions before bodies, lines before all.
        hair = np.array(camera["eye"]) * camera["height_mm"] * _SHIFT
        surface_at, lines_at = actor["layer"] * hair, (actor["layer"] + 0.5) * hair
        if scene["cut"]:
            plane = vtkPlane()
            plane.SetOrigin(*camera["target"])
            plane.SetNormal(*(-np.array(camera["eye"])))
            outline = _outline(surface, plane)
            if actor["solid"]:
                surface = _cut_open(surface, plane, rgb)
            _add_actor(renderer, outline, actor, width=3.0 if actor["solid"] else 7.0, shift=lines_at)
        shown = _add_actor(renderer, surface, actor, shift=surface_at)
        drawn = _add_actor(renderer, lines, actor, width=1.6 if actor["solid"] else 5.0, shift=lines_at)
        if scene["cut"]:
            drawn.GetMapper().AddClippingPlane(plane)
            if not actor["solid"]:
                shown.GetMapper().AddClippingPlane(plane)
        self._add_dots(renderer, actor)
        return shown

    def _add_figure(self, renderer: Any, actor: dict[str, Any], scene: dict[str, Any]) -> Any:
        """Add what is no body: triangles with a colour each, and lines; a section does not cut it."""
        surface, lines = self._geometry(actor["mesh"], None)
        colours = numpy_to_vtk(self._meshes[f"{actor['mesh']}/rgb"].astype(np.uint8), deep=1)
        surface.GetCellData().SetScalars(colours)
        hair = np.array(scene["camera"]["eye"]) * scene["camera"]["height_mm"] * _SHIFT
        shown = _add_actor(renderer, surface, actor, shift=actor["layer"] * hair)
        if actor["figure"] == "flat":
            shown.GetProperty().LightingOff()
        _add_actor(renderer, lines, actor, width=1.6, shift=(actor["layer"] + 0.5) * hair)
        return shown

    def _geometry(self, name: str, move: list[float] | None) -> tuple[Any, Any]:
        """Return surface and edges of a shape; those that stay where they are drawn are made once."""
        if move is None and name in self._made:
            return self._made[name]
        step = np.array(move or (0.0, 0.0, 0.0))
        surface = _surface(self._meshes[f"{name}/points"] + step, self._meshes[f"{name}/triangles"])
        lines = _lines(self._meshes[f"{name}/lines"] + step, self._meshes[f"{name}/line_sizes"])
        if move is None:
            self._made[name] = surface, lines
        return surface, lines

    def _add_dots(self, renderer: Any, actor: dict[str, Any]) -> None:
        dots = self._meshes[f"{actor['mesh']}/dots"]
        if len(dots):
            data = vtkPolyData()
            data.SetPoints(_points(dots))
            cells = vtkCellArray()
            for i in range(len(dots)):
                cells.InsertNextCell(1, [i])
            data.SetVerts(cells)
            marks = _add_actor(renderer, data, actor)
            marks.GetProperty().SetPointSize(16.0)
            marks.GetProperty().RenderPointsAsSpheresOn()


def _window(width: int, height: int, *, samples: int) -> Any:
    window = vtkRenderWindow()
    window.SetOffScreenRendering(1)
    window.SetSize(width, height)
    window.SetMultiSamples(samples)
    return window


def _grab(window: Any, renderer: Any) -> npt.NDArray[np.uint8]:
    """Draw a stage once and return its pixels, the top row first."""
    window.AddRenderer(renderer)
    try:
        window.Render()
        width, height = window.GetSize()
        pixels = vtkUnsignedCharArray()
        window.GetPixelData(0, 0, width - 1, height - 1, 0, pixels, 0)
        return np.array(vtk_to_numpy(pixels).reshape(height, width, 3)[::-1], dtype=np.uint8)
    finally:
        window.RemoveRenderer(renderer)


def _points(points: npt.NDArray[Any]) -> Any:
    held = vtkPoints()
    held.SetDataTypeToDouble()
    held.SetData(numpy_to_vtk(np.ascontiguousarray(points, dtype=np.float64), deep=1))
    return held


def _surface(points: npt.NDArray[Any], triangles: npt.NDArray[Any]) -> Any:
    """Return triangles with welded corners, so that a cut through them can be closed."""
    data = vtkPolyData()
    welded, where = np.unique(np.round(points, 6), axis=0, return_inverse=True)
    data.SetPoints(_points(welded))
    corners = where.reshape(-1)[triangles].astype(np.int64)
    cells = vtkCellArray()
    cells.SetData(3, numpy_to_vtkIdTypeArray(np.ascontiguousarray(corners.ravel()), deep=1))
    data.SetPolys(cells)
    return data


def _lines(points: npt.NDArray[Any], sizes: npt.NDArray[Any]) -> Any:
    data = vtkPolyData()
    data.SetPoints(_points(points))
    cells = vtkCellArray()
    start = 0
    for size in sizes.tolist():
        cells.InsertNextCell(size, list(range(start, start + size)))
        start += size
    data.SetLines(cells)
    return data


def _outline(surface: Any, plane: Any) -> Any:
    cutter = vtkCutter()
    cutter.SetInputData(surface)
    cutter.SetCutFunction(plane)
    cutter.Update()
    return cutter.GetOutput()


def _cut_open(surface: Any, plane: Any, rgb: list[float]) -> Any:
    """Cut a closed surface and cap it, the cap a shade darker than the rest."""
    planes = vtkPlaneCollection()
    planes.AddItem(plane)
    clip = vtkClipClosedSurface()
    clip.SetInputData(surface)
    clip.SetClippingPlanes(planes)
    clip.SetScalarModeToColors()
    clip.SetBaseColor(*rgb)
    clip.SetClipColor(*(0.86 * c for c in rgb))
    clip.Update()
    return clip.GetOutput()


def _add_actor(
    renderer: Any,
    data: Any,
    actor: dict[str, Any],
    *,
    width: float | None = None,
    shift: Floats | None = None,
) -> Any:
    """Put data on the stage; with a width they are lines, dark on solids and coloured on patches."""
    mapper = vtkPolyDataMapper()
    mapper.SetInputData(data)
    thing = vtkActor()
    thing.SetMapper(mapper)
    style = thing.GetProperty()
    style.SetColor(*(c / 255.0 for c in actor["rgb"]))
    style.SetOpacity(actor["opacity"])
    style.SetAmbient(0.3)
    style.SetDiffuse(0.72)
    style.SetInterpolationToFlat()
    if width is not None:
        mapper.ScalarVisibilityOff()
        style.LightingOff()
        style.SetLineWidth(width)
        if actor["solid"]:
            style.SetColor(0.16, 0.18, 0.21)
            style.SetOpacity(actor.get("edges", min(1.0, actor["opacity"] * 1.8)))
    if shift is not None:
        thing.SetPosition(*shift)
    renderer.AddActor(thing)
    return thing


def _aim(renderer: Any, camera: dict[str, Any]) -> None:
    lens = renderer.GetActiveCamera()
    target, eye = np.array(camera["target"]), np.array(camera["eye"])
    lens.ParallelProjectionOn()
    lens.SetFocalPoint(*target)
    lens.SetPosition(*(target + eye * 1e3))
    lens.SetViewUp(*camera["up"])
    lens.SetParallelScale(camera["height_mm"] / 2)
    renderer.ResetCameraClippingRange()


def _draw_job(job_path: Path) -> None:
    """Draw every scene of a job file, the overview first, and answer on standard output."""
    job = json.loads(job_path.read_text(encoding="utf-8"))
    with np.load(job_path.with_suffix(".npz")) as stored:
        drawer = Drawer({name: stored[name] for name in stored.files})
    folder = Path(job["folder"])
    small: tuple[Image.Image, Projection] | None = None
    for scene in job["scenes"]:
        try:
            # Seen closely, it is the close view that is cut open.
            whole = {**scene, "cut": scene["cut"] and not scene.get("close")}
            picture, numbers, roles = drawer.draw(whole)
            projection = Projection.of(scene["camera"], WIDTH, HEIGHT)
            if small is None:
                small = picture.copy(), projection
            if scene.get("close"):
                picture, numbers, roles = drawer.draw({**scene, "camera": scene["close"]})
                projection = Projection.of(scene["close"], WIDTH, HEIGHT)
            canvas = Canvas(picture=picture, numbers=numbers, projection=projection, scene=scene, roles=roles)
            if scene["file"] == job["scenes"][0]["file"] or scene.get("whole"):
                finished = finish_overview(canvas, *(small if scene.get("close") else ()))
            elif "scale" in scene:
                finished = _finish_scaled(canvas)
            elif "arrows" in scene:
                finished = _finish_arrows(canvas)
            else:
                finished = finish_close_up(canvas, *small)
            finished.save(folder / scene["file"], compress_level=6)
            _answer({"drawn": scene["file"]})
        except (RuntimeError, ValueError, OSError, KeyError) as trouble:
            _answer({"failed": scene["file"], "why": f"{type(trouble).__name__}: {trouble}"})
    _answer({"done": True})


def _answer(message: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(message) + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    for line in sys.stdin:
        _draw_job(Path(line.strip()))
