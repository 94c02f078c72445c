"""A study over a whole job: keys of one operation's set-up and of the job, and where the verdict flips."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor

import cadquery as cq
import pytest

from fixturecheck.errors import SetupError
from fixturecheck.report.study import study_text
from fixturecheck.result.finding import Verdict
from fixturecheck.runs.sweep import swept
from fixturecheck.runs.variant import check_parcel, check_variant, read_to_send
from fixturecheck.study.read import read_study
from fixturecheck.study.variants import variants_of
from tests.process.jobs import block

JOB = """
[job]
name = "block"

[part]
name = "block"
file = "block.step"
[part.faces]
top = ">Z"
bottom = "<Z"

[[operation]]
number = 10
name = "top"
kind = "grind"
makes = ["top"]
stock_mm = 0.3
setup = "top.toml"

[[operation]]
number = 20
name = "measure"
kind = "measure"
measures = ["top"]
stones = ["top"]
"""

SETUP = """
[setup]
name = "top up"

[machine]
table_z_mm = -20.0
rpm = 3000.0

[wheel]
shape = "1"

diameter_mm = 200.0
thickness_mm = 20.0
bore_mm = 50.0
max_speed_m_s = 35.0

[[equipment]]
kind = "flat_magnetic_chuck"
name = "chuck"

[[body]]
name = "block"
at = [0, 40, 0]

[[seat]]
body = "block"
face = "bottom"
on = "chuck_plate"
on_face = "top"

[[cut]]
name = "top"
parts = ["block"]
floor = "top"
"""

STUDY = """
[study]
setups = ["job.toml"]
only = ["limits"]

[[parameter]]
name = "speed"
set = "operation.10.setup.machine.rpm"
range = [2000.0, 4000.0]
steps = 2
flip_within = 200.0

[[parameter]]
name = "burr"
set = "operation.10.burr_mm"
values = [0.03]
"""
"""Above the marked speed of the wheel operation 10 is no-go."""


@pytest.fixture
def study(tmp_path):
    cq.exporters.export(block(), str(tmp_path / "block.step"))
    (tmp_path / "job.toml").write_text(JOB)
    (tmp_path / "top.toml").write_text(SETUP)
    path = tmp_path / "study.toml"
    path.write_text(STUDY)
    return path


def test_a_key_of_one_operation_flips_at_its_closed_form(study, tmp_path):
    """The rim of a wheel of diameter d runs at pi d n."""

    def threads(_workers):
        return ThreadPoolExecutor(1)

    def quiet(_doing, _share):
        pass

    found, _ = swept(read_study(study), tmp_path / "out", threads, 1, flips=True, progress=quiet)
    assert [(r.verdict, r.operation) for r in found.sampled][1] == (Verdict.NO_GO, "10 top")
    (up,) = found.flips
    closed_rpm = 35.0 / (math.pi * 0.2) * 60.0
    assert up.passes_at <= closed_rpm <= up.fails_at <= up.passes_at + 200.0
    assert up.driver.startswith("10: limits/")
    assert "it is no-go: operation 10 top: " in study_text(found)
    again, fresh = swept(read_study(study), tmp_path / "out", threads, 1, flips=True, progress=quiet)
    assert (again.flips, fresh) == (found.flips, 0)
    # A set-up of the job that has changed is checked anew.
    (tmp_path / "top.toml").write_text(SETUP.replace("35.0", "60.0"))
    eased, fresh = swept(read_study(study), tmp_path / "out", threads, 1, flips=False, progress=quiet)
    assert ([eased.study.passes(r.verdict) for r in eased.sampled], fresh) == ([True, True], 2)


def test_a_job_is_checked_elsewhere_as_here(study):
    one = variants_of(read_study(study))[1]
    task = ("key", one, ("limits",), (), 900.0)

    def quiet(_doing, _share):
        pass

    there = check_parcel(task, read_to_send(task, progress=quiet), progress=quiet)
    assert there == check_variant(task)
    assert there.verdict is Verdict.NO_GO


@pytest.mark.parametrize(
    ("stated", "says"),
    [
        ("operation.20.setup.wheel.bore_mm", "operation '20 measure' states no setup"),
        ("operation.30.setup.wheel.bore_mm", "there is no operation '30'; there are 10, 20"),
        ("operation.30.burr_mm", "no operation is named '30'"),
        ("operation.10.setup.wheel.rmp", "unknown key 'rmp' in [wheel]"),
    ],
)
def test_a_key_that_leads_nowhere_is_refused_with_the_line_of_the_study(study, tmp_path, stated, says):
    study.write_text(STUDY.replace("operation.10.setup.machine.rpm", stated))
    with pytest.raises(SetupError) as refused:
        swept(read_study(study), tmp_path / "out", ThreadPoolExecutor, 1, flips=False, progress=print)
    (told,) = refused.value.problems
    assert told.startswith("study.toml, line 8: --set operation.")
    assert says in told
