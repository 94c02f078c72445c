"""Reads and writes the chuck file, in which a measured magnet is kept for set-ups to name."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fixturecheck.setup.document import read_document
from fixturecheck.setup.holding import CalibratedChuck


def chuck_file(path: str | Path) -> CalibratedChuck:
    """Read a chuck file that `fixturecheck calibrate` wrote.

    Parameters
    ----------
    path : str or Path

    Raises
    ------
    SetupError
        It cannot be read, or something in it is wrong, with its line.
    """
    file = Path(path)
    facts = read_document(file, {})
    facts.only(("chuck", "reading"))
    return facts.table("chuck").record(CalibratedChuck, besides={"path": str(file)})


def chuck_text(chuck: CalibratedChuck, says: tuple[str, ...], readings: tuple[Mapping[str, Any], ...]) -> str:
    """Return a chuck file as text.

    Parameters
    ----------
    chuck : CalibratedChuck
    says : tuple of str
        Lines of comment at its top.
    readings : tuple of mapping
        What it was found from, each with the same keys; nothing reads them back.
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
