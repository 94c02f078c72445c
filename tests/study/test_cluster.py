"""A study on a cluster: two workers on this machine, one of which is killed, and what cannot be joined."""

from __future__ import annotations

import importlib
import os
import signal
from concurrent.futures import Executor, Future
from dataclasses import replace
from pathlib import Path

import distributed
import pytest

from fixturecheck.errors import FixturecheckError, KernelError, SetupError
from fixturecheck.kernel.recall import packed, unpacked
from fixturecheck.report.json import result_dict
from fixturecheck.result.finding import Verdict
from fixturecheck.runs import variant
from fixturecheck.runs.sweep import Shipping, cluster, swept
from fixturecheck.runs.variant import check_parcel, check_sent, check_variant
from fixturecheck.setup.load import load
from fixturecheck.study.read import read_study
from fixturecheck.study.store import ROWS
from fixturecheck.study.variants import variants_of
from tests.processes import children, is_running, wait_until
from tests.study.test_sweep import SCRIPT, quiet

GAPS = [0.0, 0.1, 0.2, 0.3]


@pytest.fixture
def pair(tmp_path):
    (tmp_path / "pair.py").write_text(SCRIPT)
    path = tmp_path / "pair.toml"
    path.write_text(
        '[study]\nsetups = ["pair.py"]\nonly = ["nest"]\nstrict = true\n'
        f'[[parameter]]\nset = "gap"\nvalues = {GAPS}\n'
    )
    return path


@pytest.mark.slow
def test_a_worker_that_is_killed_loses_nothing(pair, tmp_path):
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as local:
        address = local.scheduler_address
        pids = [nanny.pid for nanny in local.workers.values()]
        killed = []

        def kill_one(_doing, _share):
            if not killed:
                killed.extend([pids[0], *children(pids[0])])
                os.kill(pids[0], signal.SIGKILL)

        with cluster(address, 1) as (pool, at_once):
            assert at_once == 3  # one is read meanwhile
            found, fresh = swept(
                read_study(pair), tmp_path / "out", pool, at_once, flips=False, progress=kill_one
            )
    assert fresh == len(GAPS)
    assert [r.verdict for r in found.sampled] == [Verdict.GO, *[Verdict.CAUTION] * 3]
    here = check_variant((found.sampled[3].key, found.sampled[3].variant, ("nest",), (), 900.0))
    assert found.sampled[3] == here
    wait_until(lambda: not any(map(is_running, {*pids, *killed})))


class Fake(Executor):
    """A cluster of one thread, lost after some variants: dask's client then cancels what is under way.

    With a scheduler of its own killed by hand, the same line came 20 s later.
    """

    def __init__(self, most):
        self._most = most

    def get_executor(self, **_options):
        return self

    def submit(self, _work, task, sent, /):
        future = Future()
        self._most -= 1
        if self._most < 0:
            future.cancel()
            future.set_running_or_notify_cancel()
        else:
            future.set_result(check_parcel(task, sent, progress=lambda *_: None))
        return future


class Here:
    """Calls a function in this process, in place of a guarded one."""

    def call(self, target, *arguments, timeout_s):
        assert timeout_s > 0
        module, name = target.split(":")
        return getattr(importlib.import_module(module), name)(*arguments, progress=lambda *_: None)

    def close(self):
        pass


def test_a_scheduler_that_is_lost_is_one_line_and_what_was_finished_is_kept(pair, tmp_path, monkeypatch):
    monkeypatch.setattr("fixturecheck.runs.sweep.Worker", Here)
    study, out = read_study(pair), tmp_path / "out"
    with pytest.raises(FixturecheckError, match=r"^the scheduler of the cluster was lost; [a-z ]* are kept$"):
        swept(study, out, lambda _workers: Shipping(Fake(2), 1), 1, flips=False, progress=quiet)
    assert (out / ROWS).read_text().count("\n") == 2
    found, fresh = swept(study, out, lambda _workers: Shipping(Fake(9), 1), 1, flips=False, progress=quiet)
    assert fresh == 2
    assert [r.verdict for r in found.sampled] == [Verdict.GO, *[Verdict.CAUTION] * 3]


def test_a_crash_where_a_variant_is_read_is_one_row(pair, tmp_path, monkeypatch):
    """The process that reads it dies, and the next variant has another one."""
    monkeypatch.setattr("fixturecheck.runs.sweep._READ", "tests.study.deaths:ends")
    shipping, task = Shipping(Fake(9), 1), ("key", variants_of(read_study(pair))[0], None, (), 900.0)
    try:
        for _ in range(2):
            row = shipping.submit(check_sent, task).result()
            assert (row.verdict, "crashed" in row.says) == (Verdict.UNKNOWN, True)
    finally:
        shipping.shutdown()


def test_a_crash_where_a_variant_is_checked_is_one_row(pair, monkeypatch):
    """The death of the guarded process costs its variant; the next one starts another."""
    task = ("key", variants_of(read_study(pair))[0], ("nest",), (), 900.0)
    nothing = None  # what travels is not looked at here; naming its type loads the kernel in the process
    monkeypatch.setattr(variant, "_CHECK", "tests.study.deaths:ends")
    assert "crashed" in check_sent(task, nothing).says
    monkeypatch.setattr(variant, "_CHECK", "tests.study.deaths:answers")
    assert check_sent(task, nothing).says == "answered"


def test_a_set_up_arrives_as_it_was_sent():
    setup = load(Path(__file__).parents[2] / "models/index_pawl/rev_b.py")
    sent = packed(setup)
    for body in setup.bodies:
        body.solid.tessellate(0.001)
    before, after = (len(p.value) + sum(map(len, p.solids.values())) for p in (sent, packed(setup)))
    assert after < 1.05 * before  # no triangles travel
    arrived = unpacked(sent)
    from fixturecheck.engine import check

    before, after = (result_dict(check(one, only=["seat", "nest"])) for one in (setup, arrived))
    assert before == after
    key = next(iter(sent.solids))
    damaged = replace(sent, solids={**sent.solids, key: sent.solids[key][:-1] + b"x"})
    with pytest.raises(KernelError, match="did not arrive as it was sent"):
        unpacked(damaged)


def test_a_cluster_that_is_not_there_is_one_line(monkeypatch):
    monkeypatch.setattr("fixturecheck.runs.sweep._ANSWERS_S", 0.5)
    for address in ("tcp://127.0.0.1:9", "nowhere"):
        with (
            pytest.raises(SetupError, match=f"^--scheduler {address}: no scheduler answers there"),
            cluster(address, 1),
        ):
            pass
