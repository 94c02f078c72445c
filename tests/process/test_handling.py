"""How the parts of a job come off: what is lifted, what must not be slid, what rubs all the same."""

from __future__ import annotations

import cadquery as cq

from fixturecheck import Clamp, Cut, Holding, Machine, Operation, Seat, Setup, body, job_of
from fixturecheck.process.run import check_operation, comes_off, staged_job
from fixturecheck.report.job import off_words

LONG, WIDE, HIGH = 40.0, 20.0, 12.0
STEEL_N_MM3 = 7870e-9 * 9.80665
FACES = {"top": (0, 0, HIGH), "under": (0, 0, 0), "left": (-LONG / 2, 0, 6), "right": (LONG / 2, 0, 6)}


def gauge(finish: str):
    """A plain block that lies on its under side, of a finish."""
    solid = cq.Workplane("XY").box(LONG, WIDE, HIGH, centered=(True, True, False))
    return body("gauge", solid, material="steel_1018", finish=finish, faces=FACES)


def ledge(finish: str):
    """A plate to lie on, of a finish; the chuck under it is off."""
    solid = cq.Workplane("XY").box(200, 100, 10, centered=(True, True, False)).translate((0, 0, -10))
    plate = body("plate", solid, role="fixture", material="steel_1018", finish=finish, fastened=True)
    toe = Clamp(name="toe", kind="toe", body="gauge", at_mm=(20, 0, 6), inward=(-1, 0, 0), force_n=100.0)

    def make(_before, after) -> Setup:
        face = plate.face_names()[max(range(6), key=lambda i: solid.val().Faces()[i].Center().z)]
        return Setup(
            name="on the plate",
            bodies=(plate, after),
            seats=(Seat(body="gauge", face="under", on="plate", on_face=face),),
            cuts=(Cut(name="top", parts=("gauge",), floor="top", stock_mm=0.1),),
            holding=Holding(clamps=(toe,)),
            machine=Machine(table_z_mm=-10.0),
        )

    return make


def off(part_finish: str, plate_finish: str):
    """How the block comes off after its second operation."""
    ops = (
        Operation(number=10, name="rough", kind="mill", makes=("left",), stock_mm={"*": 0.5}),
        Operation(number=20, name="top", kind="grind", makes=("top",), stock_mm={"*": 0.1}),
    )
    job = job_of("gauges", gauge(part_finish), ops, setups={20: ledge(plate_finish)})
    stage = staged_job(job, lambda _doing, _share: None)
    result = check_operation(stage.setups[20], only={"release"})
    (one,) = comes_off(result)
    return one


def test_a_ground_part_is_tipped_and_must_not_be_slid() -> None:
    """By hand: half its weight lifts the far edge, and its ground under side would rub."""
    one = off("ground", "milled")
    assert one.by_hand
    assert (one.not_slid, one.rubs) == (("gauge.under",), ())
    told = off_words(one)
    assert told.startswith("Tip gauge about its ")
    assert "Do not slide it: gauge.under would rub." in told
    half_n = STEEL_N_MM3 * LONG * WIDE * HIGH / 2
    assert f"{half_n:.2g} N" in told


def test_a_rough_part_on_a_rough_plate_may_be_slid() -> None:
    one = off("milled", "milled")
    assert one.not_slid == ()
    assert "slide" not in off_words(one)
