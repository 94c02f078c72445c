"""A hold made by hand for the two gibs on a plate: one is held well, the other digs in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fixturecheck.faceref import FaceRef
from fixturecheck.hold_result import (
    BodyLeaves,
    BodyMoves,
    FaceHeld,
    FluxSection,
    FrictionUsed,
    HoldFound,
    HoldInput,
    HoldLoss,
    PartHeld,
    PullMap,
)
from fixturecheck.result import Result
from tests.report import staged

INPUTS = (
    HoldInput(name="friction", unit="", span=(0.15, 0.3), factor_at_low=1.6, factor_at_high=3.2),
    HoldInput(name="push of the wheel", unit="N", span=(10.0, 60.0), factor_at_low=3.0, factor_at_high=2.0),
    HoldInput(name="drag of the wheel", unit="N", span=(5.0, 15.0), factor_at_low=30.0, factor_at_high=2.0),
    HoldInput(
        name="error of the pull", unit="share", span=(-1.0, 1.0), factor_at_low=2.4, factor_at_high=2.4
    ),
)

WEAK = PartHeld(
    part="gib_2",
    cut="top_flat",
    case="table to the left, wheel at the left end",
    factor_low=1.2345,
    factor_high=30.0,
    at_least=False,
    pull_n=(100.0, 200.0),
    drag_n=(5.0, 15.0),
    press_n=(10.0, 60.0),
    wall_n=(0.0, 0.0),
    cross_n=(-1.5, 1.5),
    load_n=(30.0, 0.0, -40.0),
    load_at_mm=(-25.0, -6.0, 10.0),
    says="lets go at 1.23 times the cutting load: gib_2 tips & <turns>",
    goes="gib_2",
    direction=(1.0, 0.0, 0.0),
    motion_at_mm=(0.0, -6.3, 5.0),
    outcome="digs in",
    hits="the rail",
    inputs=INPUTS,
    losses=(
        HoldLoss(
            lost="with a film of coolant",
            factor=0.8,
            says="lets go at 0.8 times the cutting load: gib_2 slides",
        ),
        HoldLoss(lost="without rail", factor=None, says="no answer"),
    ),
    remedies=("a block of 8 mm on the left", "a downfeed of 0.005 mm"),
    moves=(
        BodyMoves(
            body="gib_2", at_mm=(0.0, -6.3, 5.0), velocity=(0.0, -1.0, 0.0), turn_rad_mm=(0.0, 0.0, 0.0)
        ),
    ),
)

SAFE = replace(
    WEAK,
    part="gib_1",
    factor_low=30.0,
    at_least=True,
    goes=None,
    direction=None,
    motion_at_mm=None,
    outcome="",
    hits=None,
    inputs=(),
    losses=(),
    remedies=(),
    moves=(),
    says="bears at least 30 times the cutting load",
)


def pull_map(a: str, y_mm: float) -> PullMap:
    """A seat of 60 x 16 pulled from 0 at the left end to 100 N/cm2 at the right end."""
    x, y = (v.ravel() for v in np.meshgrid(np.arange(-29.0, 30.0, 2.0), y_mm + np.arange(1.0, 16.0, 2.0)))
    return PullMap(
        a=FaceRef(a),
        b=FaceRef("plate.top"),
        toward=(0.0, 0.0, -1.0),
        points_mm=tuple(zip(x.tolist(), y.tolist(), np.zeros(len(x)).tolist(), strict=True)),
        area_mm2=(4.0,) * len(x),
        pull_n_cm2=tuple(((x + 29.0) / 58.0 * 100.0).tolist()),
    )


def section() -> FluxSection:
    """Flux straight up in the plate's left half and straight down in its right half."""
    x, z = (v.ravel() for v in np.meshgrid(np.arange(-38.0, 39.0, 4.0), np.arange(-18.0, 0.0, 4.0)))
    ring = [(-40.0, 9.0, -20.0), (40.0, 9.0, -20.0), (40.0, 9.0, 0.0), (-40.0, 9.0, 0.0)]
    return FluxSection(
        normal=(0.0, 1.0, 0.0),
        at_mm=(0.0, 9.0, -5.0),
        wide_mm=80.0,
        spacing_mm=4.0,
        points_mm=tuple((float(a), 9.0, float(b)) for a, b in zip(x, z, strict=True)),
        flux_density_t=tuple((0.0, 0.0, 1.0 if a < 0 else -1.0) for a in x),
        outlines=(("plate", tuple(zip(ring, ring[1:] + ring[:1], strict=True))),),
        poles=(("N", (-20.0, 9.0, -10.0)), ("S", (20.0, 9.0, -10.0))),
    )


def hold() -> HoldFound:
    faces = tuple(
        FaceHeld(
            a=FaceRef(f"{gib}.bottom"), b=FaceRef("plate.top"), low_n=low, high_n=2 * low,
            area_mm2=960.0, flux_density_t=0.5,
            centre_mm=(0.0, 0.0, 0.0), toward=(0.0, 0.0, -1.0),
        )
        for gib, low in (("gib_1", 480.0), ("gib_2", 100.0))
    )  # fmt: skip
    return HoldFound(
        magnet="full; every pull is relative to a rated 80 N/cm2",
        least_factor=3.0,
        friction=FrictionUsed(coolant=True, mu=(0.1, 0.2), dry_mu=(0.15, 0.3)),
        parts=(SAFE, WEAK),
        faces=faces,
        missing=(("gib_3 in top_flat", "it has no finish"),),
        notes=("brass was meshed coarser",),
        kept=(("plate", "stands on the table and is taken as bolted to it"),),
        leaving=(
            BodyLeaves(
                body="rail", residual_n=(2.0, 4.0), ways=("slides out along X",), pry=None, demagnetise=True
            ),
        ),
        burrs=("gib_1: edge of top",),
        before="wheel clear of the work, magnet off",
        maps=(pull_map("gib_1.bottom", 2.0), pull_map("gib_2.bottom", -14.3)),
        section=section(),
    )


def result(units: str = "mm") -> Result:
    return replace(staged.result(units), holding=hold())
