"""A study on a cluster: two workers on this machine, one of which is killed, and what cannot be joined."""

from __future__ import annotations

import os
import signal
from dataclasses import replace
from pathlib import Path

import distributed
import pytest

from fixturecheck.errors import KernelError, SetupError
from fixturecheck.kernel.parcel import packed, unpacked
from fixturecheck.report.json import result_dict
from fixturecheck.result.finding import Verdict
from fixturecheck.runs import variant
from fixturecheck.runs.cluster import cluster
from fixturecheck.runs.sweep import swept
from fixturecheck.runs.variant import Sent, check_sent, check_variant
from fixturecheck.setup.load import load
from fixturecheck.study.model import Variant
from fixturecheck.study.read import read_study
from tests.study.test_sweep import SCRIPT

pytestmark = pytest.mark.slow

GAPS = [0.0, 0.1, 9.0, 0.2, 0.3, 0.4]


@pytest.fixture
def pair(tmp_path):
    (tmp_path / "pair.py").write_text(SCRIPT)
    path = tmp_path / "pair.toml"
    path.write_text(
        '[study]\nsetups = ["pair.py"]\nonly = ["nest"]\nstrict = true\n'
        f'[[parameter]]\nset = "gap"\nvalues = {GAPS}\n'
    )
    return path


def test_a_worker_that_is_killed_loses_nothing(pair, tmp_path):
    """The script of gap 9 ends its process as it is read; of the other variants each has its answer."""
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as local:
        address = local.scheduler_address
        pids = [nanny.pid for nanny in local.workers.values()]
        killed = []

        def kill_one(_doing, _share):
            if not killed:
                killed.append(children(pids[0]))
                os.kill(pids[0], signal.SIGKILL)

        with cluster(address, 1) as (pool, at_once):
            assert at_once == 3  # one is read meanwhile
            found, fresh = swept(
                read_study(pair), tmp_path / "out", pool, at_once, flips=False, progress=kill_one
            )
    assert fresh == len(GAPS)
    assert [r.verdict for r in found.sampled] == [
        Verdict.GO, Verdict.CAUTION, Verdict.UNKNOWN, *[Verdict.CAUTION] * 3,
    ]  # fmt: skip
    assert "crashed" in found.sampled[2].says
    here = check_variant((found.sampled[3].key, found.sampled[3].variant, ("nest",), ()))
    assert found.sampled[3] == here
    assert not any(Path(f"/proc/{pid}").exists() for pid in (*pids, *killed[0]))


def children(pid):
    """Return the processes that a process started."""
    return [
        int(one) for path in Path(f"/proc/{pid}/task").glob("*/children") for one in path.read_text().split()
    ]


def test_a_crash_where_a_variant_is_checked_is_one_row(pair, monkeypatch):
    """The death of the guarded process costs its variant; the next one starts another."""
    one = Variant(setup=str(pair.parent / "pair.py"), values={"gap": 0.0}, overrides={})
    task = ("key", one, ("nest",), ())
    setup = load(one.setup)
    sent = Sent(setup=packed(setup), sources=setup.sources)
    monkeypatch.setattr(variant, "_CHECK", "tests.study.deaths:ends")
    assert "crashed" in check_sent(task, sent).says
    monkeypatch.undo()
    assert check_sent(task, sent).verdict is Verdict.GO


def test_a_set_up_arrives_as_it_was_sent():
    setup = load(Path(__file__).parents[2] / "models/index_pawl/rev_b.py")
    sent = packed(setup)
    for body in setup.bodies:
        body.solid.tessellate(0.001)
    assert packed(setup).size_bytes < 1.05 * sent.size_bytes  # no triangles travel
    arrived = unpacked(sent)
    from fixturecheck.engine import check

    before, after = (result_dict(check(one, only=["seat", "nest"])) for one in (setup, arrived))
    assert before == after
    key = next(iter(sent.solids))
    damaged = replace(sent, solids={**sent.solids, key: sent.solids[key][:-1] + b"x"})
    with pytest.raises(KernelError, match="did not arrive as it was sent"):
        unpacked(damaged)


def test_a_cluster_that_is_not_there_is_one_line(monkeypatch):
    monkeypatch.setattr("fixturecheck.runs.cluster._ANSWERS_S", 0.5)
    for address in ("tcp://127.0.0.1:9", "nowhere"):
        with (
            pytest.raises(SetupError, match=f"^--scheduler {address}: no scheduler answers there"),
            cluster(address, 1),
        ):
            pass
