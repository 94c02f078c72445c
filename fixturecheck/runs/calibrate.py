"""A calibration from measurements to a chuck file."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fixturecheck.magnet.calibration import MODEL_SHARE, SHIM_SHARE, Calibration, Row, calibrate
from fixturecheck.progress import Progress
from fixturecheck.setup.holding import CalibratedChuck
from fixturecheck.setup.measurement import Measured, measured_in_file
from fixturecheck.units import Writing

_WIDE = 100

_CARE = (
    "a pull on a scale is no proof of a hold, and steel lets go of a magnet all at once. Keep hands and face "
    "out of the way of piece and scale, wear eye protection, never stand in line with the pull, and have the "
    "wheel stopped and the spindle locked out. Measure again when the chuck was ground, dropped or heated. "
    "Local rules and trained people decide."
)


def run(path: str, *, progress: Progress) -> tuple[str, str]:
    """Read measurements, find every magnet that fits them, and return the chuck file and what to say.

    Parameters
    ----------
    path : str
        The file of the measurements.
    progress : callable
        Told what is being done, and the share done so far.

    Returns
    -------
    tuple
        The text of the chuck file, and what was found, for the terminal.

    Raises
    ------
    FixturecheckError
        A measurement is wrong or contradicts another, or a field could not be solved.
    """
    measured = measured_in_file(Path(path))
    found = calibrate(measured, progress=progress)
    readings = tuple(
        {"name": row.measurement.name, "measured_n": row.pull_n, "fitted_n": row.fitted_n}
        for row in found.rows
    )
    says = (
        f"A magnetic chuck as measured; written by `fixturecheck calibrate` from {measured.file}.",
        'A set-up takes it with: [holding], calibrated = "this file", magnet = "full".',
    )
    return chuck_text(found.chuck, says, readings), "\n".join(_lines(measured, found))


def _lines(measured: Measured, found: Calibration) -> list[str]:
    write, fit = measured.write, found.fit
    wide = max((len(row.measurement.name) for row in found.rows), default=0)
    lines = [f"{found.chuck.name}: {len(found.rows)} measurements, all of one magnet", ""]
    lines += [_row(row, wide, write) for row in found.rows]
    gaps = " to ".join(write.length(g, ".3g") for g in fit.gap_mm)
    seats = " to ".join(write.gap(g, ".3g") for g in fit.seat_um)
    lines += [
        "",
        f"source gap behind the poles: {gaps}",
        f"magnetomotive force: {fit.mmf_a[0]:.0f} to {fit.mmf_a[1]:.0f} A",
        f"seat of a {measured.head.finish.replace('_', ' ')} piece: {seats}",
        "every magnet between these that gives all readings counts, each within its reading and the",
        f"error of the field: {MODEL_SHARE:.0%}, and over a shim up to {SHIM_SHARE:.0%} too high",
    ]
    if not fit.gap_bounded[0]:
        lines.append(
            "the readings do not tell how stiff the magnet may be; measure a piece over more poles, and the "
            "small one better"
        )
    if not fit.gap_bounded[1]:
        lines.append("the readings do not tell how soft the magnet may be; measure a piece over more poles")
    return [*lines, "", *textwrap.wrap(_CARE, _WIDE)]


def _row(row: Row, wide: int, write: Writing) -> str:
    low, high = (write.number(v, "N", ".4g") for v in row.pull_n)
    fitted = write.force(row.fitted_n, ".4g")
    return f"  {row.measurement.name:<{wide}}  pull {low} to {high}, fitted {fitted}"


def chuck_text(chuck: CalibratedChuck, says: tuple[str, ...], readings: tuple[Mapping[str, Any], ...]) -> str:
    """Return a chuck file as text.

    Parameters
    ----------
    chuck : CalibratedChuck
    says : tuple of str
        Lines of comment at its top.
    readings : tuple of mapping
        What it was found from, each with the same keys; nothing reads them back.

    Returns
    -------
    str
        TOML, with the end of the last line.
    """
    lines = [f"# {line}".rstrip() for line in says]
    lines += [
        "",
        "[chuck]",
        f"name = {_quoted(chuck.name)}",
        f"poles = {chuck.poles}",
        f"pole_pitch_mm = {chuck.pole_pitch_mm:.6g}",
        f"pole_size_mm = {_list(chuck.pole_size_mm)}  # width, length, height",
        f"pole_material = {_quoted(chuck.pole_material)}",
        f"piece_finish = {_quoted(chuck.piece_finish)}",
        f"source_gap_mm = {_list(chuck.source_gap_mm)}  # of the stiffest and the softest magnet that fits",
        f"source_mmf_low_a = {_list(chuck.source_mmf_low_a)}  # behind either, the least that fits",
        f"source_mmf_high_a = {_list(chuck.source_mmf_high_a)}  # and the greatest",
        f"seat_gap_um = {_list(chuck.seat_gap_um)}",
    ]
    for reading in readings:
        lines += ["", "[[reading]]"]
        lines += [f"{key} = {_value(value)}" for key, value in reading.items()]
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, str):
        return _quoted(value)
    return _list(value) if isinstance(value, tuple) else f"{value:.5g}"


def _list(values: tuple[float, ...]) -> str:
    return f"[{', '.join(f'{v:.6g}' for v in values)}]"


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
