"""A hold made by hand for the two gibs on a plate: one is held well, the other digs in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fixturecheck.faceref import FaceRef
from fixturecheck.result import Result
from fixturecheck.result.hold import (
    FILM,
    BodyMotion,
    CutCase,
    Edge,
    End,
    FaceHeld,
    FluxSection,
    FrictionUsed,
    HoldFound,
    HoldInput,
    HoldLoss,
    KeptFixture,
    KeptReason,
    LetsGo,
    Loss,
    LossKind,
    MagnetState,
    MagnetUsed,
    MotionKind,
    Outcome,
    PartHeld,
    PullMap,
    PullNote,
    PullNoteKind,
    Stroke,
)
from fixturecheck.result.release import (
    BodyLeaves,
    Burr,
    FirstSteps,
    OffKind,
    OffWay,
    SteelKeeps,
)
from fixturecheck.result.remedy import (
    Amount,
    Remedy,
    RemedyKind,
    StopAt,
)
from tests.report import staged

INPUTS = (
    HoldInput(name="friction", unit="", span=(0.15, 0.3), factor_at_low=1.6, factor_at_high=3.2),
    HoldInput(name="push of the wheel", unit="N", span=(10.0, 60.0), factor_at_low=3.0, factor_at_high=2.0),
    HoldInput(name="drag of the wheel", unit="N", span=(5.0, 15.0), factor_at_low=30.0, factor_at_high=2.0),
    HoldInput(
        name="error of the pull", unit="share", span=(-1.0, 1.0), factor_at_low=2.4, factor_at_high=2.4
    ),
)

GOES = BodyMotion(
    body="gib_2",
    kind=MotionKind.SLIDES,
    velocity=(0.0, -1.0, 0.0),
    rotation_rad_mm=(0.0, 0.0, 0.0),
    at_mm=(0.0, -6.3, 5.0),
    axis_mm=None,
    axis=None,
)

KEEPS = SteelKeeps(
    kept="semi-hard",
    soft_too=False,
    coercivity_a_m=(1000.0, 9710.0),
    path_mm=25.0,
    mmf_a=240.0,
    magnet_mmf_a=None,
    field_t=0.012,
    chips_t=0.01,
)
SLIDE = OffWay(kind=OffKind.SLIDE, along=(1.0, 0.0, 0.0), about_bottom=False, force_n=None)

WEAK = PartHeld(
    part="gib_2",
    cut="top_flat",
    case=CutCase(stroke=Stroke.LEFT, end=End.LEFT, edge=Edge.FRONT),
    factor_low=1.2345,
    factor_high=30.0,
    pull_n=(100.0, 200.0),
    drag_n=(5.0, 15.0),
    press_n=(10.0, 60.0),
    wall_n=(0.0, 0.0),
    cross_n=(-1.5, 1.5),
    load_n=(30.0, 0.0, -40.0),
    load_at_mm=(-25.0, -6.0, 10.0),
    failure=LetsGo(rests=True, factor=1.2345, at_least=False, broke_off=False, motions=(GOES,)),
    direction=(1.0, 0.0, 0.0),
    outcome=Outcome.DIGS_IN,
    hits="the rail",
    inputs=INPUTS,
    losses=(
        HoldLoss(
            lost=FILM,
            failure=LetsGo(rests=True, factor=0.8, at_least=False, broke_off=False, motions=(GOES,)),
        ),
        HoldLoss(lost=Loss(kind=LossKind.BODY, name="rail"), failure=None, reason="no answer & <none>"),
    ),
    remedies=(
        Remedy(
            kind=RemedyKind.STOP,
            part="gib_2",
            factor=3.2,
            at_least=False,
            change_ratio=2.0,
            names=("a block", "wheel"),
            stop=StopAt(axis=0, sign=-1, place_mm=0.0, low_mm=0.0, high_mm=20.0, tall_mm=8.0, below_mm=4.0),
        ),
        Remedy(
            kind=RemedyKind.DOWNFEED,
            part="gib_2",
            factor=3.1,
            at_least=False,
            change_ratio=4.0,
            amounts=(Amount(now=0.02, to=0.005, unit="mm"),),
        ),
    ),
)

SAFE = replace(
    WEAK,
    part="gib_1",
    factor_low=30.0,
    failure=LetsGo(rests=True, factor=30.0, at_least=True, broke_off=False, motions=()),
    direction=None,
    outcome=None,
    hits=None,
    inputs=(),
    losses=(),
    remedies=(),
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
        magnet=MagnetUsed(
            state=MagnetState.FULL,
            gives_mm=(0.4,),
            rated_n_cm2=80.0,
            rated_stated=True,
            piece="a bar",
            finish="ground",
        ),
        least_factor=3.0,
        friction=FrictionUsed(coolant=True, mu=(0.1, 0.2), dry_mu=(0.15, 0.3)),
        parts=(SAFE, WEAK),
        faces=faces,
        missing=(("gib_3 in top_flat", "it has no finish"),),
        notes=(PullNote(kind=PullNoteKind.COARSE, of="brass", mesh_mm=4.0),),
        kept=(KeptFixture(body="plate", reason=KeptReason.TABLE),),
        leaving=(BodyLeaves(body="rail", residual_n=(2.0, 4.0), ways=(SLIDE,), pry=None, keeps=KEEPS),),
        burrs=(Burr(edge="gib_1.left+top", ends=("-X",), sparks=False, seats=(), length_mm=16.0),),
        before=FirstSteps(grinds=True, mills=False, magnet_off=True, demagnetise=False),
        maps=(pull_map("gib_1.bottom", 2.0), pull_map("gib_2.bottom", -14.3)),
        section=section(),
    )


def result(units: str = "mm") -> Result:
    return replace(staged.result(units), holding=hold())
