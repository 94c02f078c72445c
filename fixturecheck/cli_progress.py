"""A bar on the terminal while a check runs; silent where nobody watches."""

from __future__ import annotations

import shutil
from types import TracebackType
from typing import TextIO

_WIDTH = 24


class Bar:
    """One line that is written over; it is wiped when the work ends, however it ends."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._watched = stream.isatty()
        self._shown = False

    def __enter__(self) -> Bar:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._shown:
            self._stream.write("\r\x1b[K")
            self._stream.flush()

    def show(self, doing: str, share: float) -> None:
        """Draw the bar at a share of 0 to 1, with what is being done beside it."""
        if not self._watched:
            return
        share = min(max(share, 0.0), 1.0)
        full = round(_WIDTH * share)
        line = f"[{'=' * full}{' ' * (_WIDTH - full)}] {share:4.0%}  {doing}"
        columns = shutil.get_terminal_size((80, 24)).columns
        self._stream.write(f"\r\x1b[K{line[: columns - 1]}")
        self._stream.flush()
        self._shown = True
