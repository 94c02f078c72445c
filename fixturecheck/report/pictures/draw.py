"""What the drawing process is handed, and how it is watched from outside.

The process that draws, watched from outside: it may fail without harm.
A machine without a way to draw off screen still gets its verdict: what could not be drawn is said, and
nothing else changes. Nothing heavy is imported here, so that the process can be started first of all.
"""

from __future__ import annotations

import contextlib
import json
import signal
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from threading import Timer
from typing import Any

import numpy as np

from fixturecheck.kernel.mesh.triangles import Mesh
from fixturecheck.report.order import numbered
from fixturecheck.report.pictures.figures import Figure, all_arrays
from fixturecheck.report.pictures.hold_scene import hold_scenes
from fixturecheck.report.pictures.scene import (
    MeshedResult,
    close_up,
    location_scene,
    overview,
    rest_scene,
    set_stage,
)
from fixturecheck.result import NamedShape, Result

RENDERER = "fixturecheck.report.pictures.render"


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """What came of drawing: file names of the pictures, and why others are missing (None if none is)."""

    files: frozenset[str]
    trouble: str | None


class Painter:
    """The drawing process; started early, it loads its libraries while the check still computes."""

    def __init__(self, module: str = RENDERER) -> None:
        self._errors = tempfile.TemporaryFile(mode="w+", errors="replace")  # noqa: SIM115 -- closed in finish
        self._process = subprocess.Popen(  # noqa: S603 -- our own module, no outside input
            [sys.executable, "-m", module],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._errors,
            text=True,
        )

    def begin(self, job: Path) -> None:
        """Hand over a job file and return at once."""
        # A process that died already shows in finish.
        with contextlib.suppress(OSError):
            self._input().write(f"{job}\n")
            self._input().close()

    def finish(self, *, timeout_s: float = 120.0) -> Drawn:
        """Wait for the pictures and say what came of them."""
        watch = Timer(timeout_s, self._process.kill)
        watch.start()
        try:
            answers = [_message(line) for line in self._output()]
            code = self._process.wait()
        finally:
            alive = watch.is_alive()
            watch.cancel()
            self.stop()
        files = frozenset(a["drawn"] for a in answers if "drawn" in a)
        failed = [f"{a['failed']}: {a['why']}" for a in answers if "failed" in a]
        if failed:
            return Drawn(files=files, trouble="; ".join(failed))
        if any("done" in a for a in answers):
            return Drawn(files=files, trouble=None)
        if not alive:
            return Drawn(files=files, trouble=f"drawing took longer than {timeout_s:g} s")
        return Drawn(files=files, trouble=self._last_words(code))

    def stop(self) -> None:
        """End the process if it still runs."""
        if self._process.poll() is None:
            self._process.kill()
            self._process.wait()
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()

    def _input(self) -> Any:
        return self._process.stdin

    def _output(self) -> Any:
        return self._process.stdout

    def _last_words(self, code: int) -> str:
        """Say how the process ended, with the last line of its complaints."""
        self._errors.seek(0)
        lines = [line.strip() for line in self._errors.read().splitlines() if line.strip()]
        end = signal.Signals(-code).name if code < 0 else f"exit status {code}"
        return f"the drawing process ended early ({end})" + (f": {lines[-1][:200]}" if lines else "")


def _message(line: str) -> dict[str, Any]:
    """Read one answer; what a graphics library prints in between is no answer."""
    with contextlib.suppress(ValueError):
        message = json.loads(line)
        if isinstance(message, dict):
            return message
    return {}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing:
    """Every scene of a result.

    Parameters
    ----------
    stage : MeshedResult
        The shapes with their meshes.
    general : tuple of mapping
        The set-up, how it rests, what locates it and how it holds.
    figures : mapping of str to tuple of Figure
        What a scene shows besides shapes, by its file.
    close_ups : mapping of int to mapping
        The scene of each finding that has a picture, by its number.
    """

    stage: MeshedResult
    general: tuple[Mapping[str, Any], ...]
    figures: Mapping[str, tuple[Figure, ...]]
    close_ups: Mapping[int, Mapping[str, Any]]


def drawing_of(result: Result, meshes: Mapping[str, Mesh]) -> Drawing:
    """Return every scene of a result, drawn on paper or turned on the screen."""
    stage = set_stage(result, meshes)
    held = hold_scenes(stage)
    found = (overview(stage), rest_scene(stage), location_scene(stage), *(scene for scene, _ in held))
    return Drawing(
        stage=stage,
        general=tuple(scene for scene in found if scene is not None),
        figures={scene["file"]: tuple(drawn) for scene, drawn in held},
        close_ups={row.number: close_up(stage, row) for row in numbered(result) if row.picture is not None},
    )


def write_job(
    home: Path, folder: Path, result: Result, meshes: Mapping[str, Mesh], drawing: Drawing | None = None
) -> Path:
    """Write the job file of a result's pictures and return its path.

    Parameters
    ----------
    home : Path
        A folder for the job file and the meshes beside it, not part of what the user gets.
    folder : Path
        Where the pictures go; it is made.
    drawing : Drawing, optional
        What `drawing_of` returned for the result, where it has been asked already.
    """
    drawn = drawing or drawing_of(result, meshes)
    scenes = [*drawn.general, *drawn.close_ups.values()]
    figures = [figure for several in drawn.figures.values() for figure in several]
    return write_scenes(home, folder, scenes, (result.shapes, meshes), figures)


def write_scenes(
    home: Path,
    folder: Path,
    scenes: Sequence[Mapping[str, Any]],
    drawn: tuple[Sequence[NamedShape], Mapping[str, Mesh]],
    figures: Sequence[Figure] = (),
) -> Path:
    """Write the job file of some scenes, the shapes and figures in them and their meshes; return its path."""
    folder.mkdir(parents=True, exist_ok=True)
    path = home / "job.json"
    np.savez(path.with_suffix(".npz"), **_arrays(*drawn), **all_arrays(figures))
    path.write_text(json.dumps({"folder": str(folder), "scenes": list(scenes)}), encoding="utf-8")
    return path


def _arrays(shapes: Sequence[NamedShape], meshes: Mapping[str, Mesh]) -> dict[str, Any]:
    """Return the meshes as plain arrays, keyed by shape and kind."""
    arrays: dict[str, Any] = {}
    for shape in shapes:
        mesh = meshes[shape.name]
        arrays[f"{shape.name}/points"] = mesh.points_mm
        arrays[f"{shape.name}/triangles"] = mesh.triangles
        arrays[f"{shape.name}/lines"] = np.vstack([np.zeros((0, 3)), *mesh.lines_mm])
        arrays[f"{shape.name}/line_sizes"] = np.array([len(line) for line in mesh.lines_mm], dtype=np.int64)
        arrays[f"{shape.name}/dots"] = mesh.dots_mm
    return arrays
