"""A stand-in for the field of a calibration: a circuit in closed form, in the process of the command."""

from __future__ import annotations

from collections.abc import Callable
from unittest.mock import patch

from fixturecheck.runs import calibrate
from tests.holding.test_calibration import Circuit


def run(path: str, *, progress: Callable[[str, float], None]) -> tuple[str, str]:
    """Calibrate as the command does, each piece pulled as the circuit says."""
    with patch("fixturecheck.magnet.calibration.PieceOnPoles", Circuit):
        return calibrate.run(path, progress=progress)
