"""A study from its file to its table and page, its variants worked out in processes beside each other."""

from __future__ import annotations

import json
import multiprocessing
import socket
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import CancelledError, Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from pathlib import Path
from queue import SimpleQueue
from typing import Any

from fixturecheck.cache import code_digest
from fixturecheck.compiled import loops_kept
from fixturecheck.errors import FixturecheckError, SetupError
from fixturecheck.files import write_whole
from fixturecheck.kernel.worker import Worker, collect_rarely
from fixturecheck.process.load import load_any
from fixturecheck.progress import Progress
from fixturecheck.report.folder import written
from fixturecheck.report.study import study_junit, study_markdown, study_page, study_text
from fixturecheck.result.finding import Verdict
from fixturecheck.runs.request import VARIANT_LIMIT_S, SweepAnswer
from fixturecheck.runs.variant import Sent, Task, check_sent, check_variant, crashed, prepare, refusal
from fixturecheck.study.model import Flip, Study, StudyFound, Variant, VariantRow, best_of
from fixturecheck.study.read import read_study
from fixturecheck.study.store import (
    DATA,
    PAGE,
    ROWS,
    TABLE,
    ends_torn,
    read_rows,
    row_line,
    study_dict,
    table_csv,
    variant_key,
)
from fixturecheck.study.variants import LastingWorker, flips_of, variants_of, work_through

Pools = Callable[[int], Executor]

_SAMPLED = 0.8
"""Share of the work that is done once the sample is."""
_ANSWERS_S = 20.0
_READ = "fixturecheck.runs.variant:read_to_send"


def spawned(workers: int) -> Executor:
    """Return a pool of processes that are started anew, never forked: a forked kernel may hang.

    Parameters
    ----------
    workers : int
        How many processes; at least one.

    Returns
    -------
    Executor
    """
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(workers, mp_context=context, initializer=collect_rarely)
    # Where the first variant is worked out alone, the other processes load the kernel meanwhile.
    for _ in range(workers - 1):
        pool.submit(prepare)
    return pool


def run(
    study_path: str,
    folder: str,
    processes: int,
    flips: bool,
    scheduler: str | None = None,
    limit_s: float = VARIANT_LIMIT_S,
    *,
    progress: Progress,
) -> SweepAnswer:
    """Work a study out, as far as it has not been, and write its table and page.

    Parameters
    ----------
    study_path : str
        The TOML file of the study.
    folder : str
        Where its rows are kept; what is there of the same variants is used again.
    processes : int
        How many variants are worked out at once.
    flips : bool
        Whether to look how far each parameter can go.
    scheduler : str or None
        Address of the scheduler of a cluster, whose workers then work the variants out; `processes` is how
        many are read at once here.
    limit_s : float
        How many seconds a variant may take; one that takes longer is unknown.
    progress : callable
        Told what is being done, and the share done so far.

    Returns
    -------
    SweepAnswer

    Raises
    ------
    FixturecheckError
        The study or its set-ups are wrong, or something cannot be written.
    """
    study = read_study(Path(study_path))
    with (
        nullcontext((spawned, processes)) if scheduler is None else cluster(scheduler, processes) as (
            pool,
            at_once,
        )
    ):
        found, fresh = swept(
            study, Path(folder), pool, at_once, flips=flips, limit_s=limit_s, progress=progress
        )
    none = {Verdict.UNKNOWN: "unknown", Verdict.NO_GO: "fails"}
    came = "passes" if found.best is not None else none[found.verdict]
    return SweepAnswer(
        came=came,
        text=study_text(found),
        all_known=not fresh,
        junit=study_junit(found),
        summary=study_markdown(found),
    )


class Sweeping:
    """A study while it is worked out.

    Parameters
    ----------
    study : Study
    folder : Path
        Where its rows are kept.
    limit_s : float
        How many seconds a variant may take.

    Attributes
    ----------
    rows : dict of str to VariantRow
        What is known, by key.
    fresh : int
        How many rows were worked out now.
    """

    def __init__(self, study: Study, folder: Path, limit_s: float = VARIANT_LIMIT_S) -> None:
        self.study, self.folder, self.limit_s = study, folder, limit_s
        self.rows = read_rows(study, folder / ROWS)
        self._torn = ends_torn(folder / ROWS)
        self.fresh = 0

    def task(self, variant: Variant) -> Task:
        """Return what a worker is handed."""
        return variant_key(self.study, variant), variant, self.study.only, self.study.skip, self.limit_s

    def keep(self, row: VariantRow) -> None:
        """Keep a row, on disk first: a study that is stopped the next moment has it."""
        with (self.folder / ROWS).open("a", encoding="utf-8") as file:
            # After a line that was not written to its end.
            file.write("\n" * self._torn + row_line(self.study, row))
        self._torn = False
        self.rows[row.key] = row
        self.fresh += 1


def swept(
    study: Study,
    folder: Path,
    pool: Pools,
    processes: int,
    *,
    flips: bool,
    limit_s: float = VARIANT_LIMIT_S,
    progress: Progress,
) -> tuple[StudyFound, int]:
    """Work a study out and write it.

    Parameters
    ----------
    study : Study
        The study as stated.
    folder : Path
        Where its rows are kept; made where it is not there.
    pool : callable
        Makes an executor with so many workers.
    processes : int
        How many variants are worked out at once.
    flips : bool
        Whether to look how far each parameter can go.
    limit_s : float
        How many seconds a variant may take.
    progress : callable
        Told what is being done, and the share done so far.

    Returns
    -------
    tuple
        What was found, and how many variants were worked out now.

    Raises
    ------
    FixturecheckError
        The set-ups are wrong, or something cannot be written.
    """
    variants = variants_of(study)
    _refuse_wrong(study, variants)
    # Loops that nobody has compiled yet are compiled by the first variant, not by every process at once.
    compiling = pool is spawned and not loops_kept()
    with written(folder):
        folder.mkdir(parents=True, exist_ok=True)
        work = Sweeping(study, folder, limit_s)
        todo = [t for t in map(work.task, variants) if t[0] not in work.rows]

        def done(_task: Task, row: VariantRow) -> None:
            work.keep(row)
            progress(f"{work.fresh} of {len(todo)} variants", _SAMPLED * work.fresh / len(todo))

        work_through(
            todo,
            check_variant,
            pool=pool,
            at_once=processes,
            done=done,
            crashed=crashed,
            first_alone=compiling,
        )
        sampled = tuple(work.rows[variant_key(study, v)] for v in variants)
        turned, looked = _flips(work, sampled, pool, progress) if flips else ((), ())
        found = StudyFound(study=study, rows=(*sampled, *looked), flips=turned)
        _write(found, folder)
    return found, work.fresh


def _flips(
    work: Sweeping, sampled: tuple[VariantRow, ...], pool: Pools, progress: Progress
) -> tuple[tuple[Flip, ...], tuple[VariantRow, ...]]:
    """Look how far each parameter can go from the best variant of each set-up.

    Returns
    -------
    tuple
        What was found, and what was looked at for it.
    """
    groups = [tuple(r for r in sampled if r.variant.setup == setup) for setup in work.study.setups]
    looked: dict[str, VariantRow] = {}
    known = {row.key for row in sampled}
    worker = LastingWorker(pool)

    def evaluate(variant: Variant) -> VariantRow:
        task = work.task(variant)
        if task[0] not in work.rows:
            progress(f"how far it can go: {len(looked) + 1} looked at", _SAMPLED)
            answer = worker.ask(check_variant, task, crashed)
            work.keep(replace(answer, flip=True))
        row = work.rows[task[0]]
        if row.key not in known:
            looked[row.key] = replace(row, flip=True)
        return row

    try:
        found = tuple(
            flip
            for rows in groups
            if (base := best_of(work.study, rows)) is not None
            for flip in flips_of(work.study, base, rows, evaluate)
        )
        return found, tuple(looked.values())
    finally:
        worker.close()


def _refuse_wrong(study: Study, variants: tuple[Variant, ...]) -> None:
    """Refuse a study of which no variant can be read, as where a set-up does not have a parameter.

    A size that makes no solid in some variants makes those unknown, and nothing else.
    """
    for setup in study.setups:
        mine = [v for v in variants if v.setup == setup]
        tried: list[SetupError] = []
        for one in (mine[0], mine[len(mine) // 2], mine[-1]):
            try:
                load_any(one.setup, one.overrides)
                break
            except SetupError as reason:
                tried.append(reason)
        else:
            raise _blamed(study, mine[0], tried[0])


def _blamed(study: Study, variant: Variant, reason: SetupError) -> SetupError:
    """Return why a variant cannot be read, at the parameter that alone would be refused; as it is without."""
    for parameter in study.parameters:
        own = {key: value for key, value in variant.overrides.items() if key in parameter.sets}
        try:
            load_any(variant.setup, own)
        except SetupError as wrong:
            at = f"{parameter.stated_at}: " if parameter.stated_at else ""
            return SetupError(*(f"{at}{problem}" for problem in wrong.problems))
    return reason


def _write(found: StudyFound, folder: Path) -> None:
    texts: Mapping[str, str] = {
        TABLE: table_csv(found),
        DATA: json.dumps(study_dict(found), indent=1, ensure_ascii=False) + "\n",
        PAGE: study_page(found),
    }
    for name, text in texts.items():
        write_whole(folder / name, text)


class Shipping(Executor):
    """Hands variants to the workers of a cluster.

    Parameters
    ----------
    client : distributed.Client
        What speaks to the scheduler.
    readers : int
        How many variants are read at once on this machine.
    """

    def __init__(self, client: Any, readers: int) -> None:
        from distributed import KilledWorker  # noqa: PLC0415 -- an extra that most do without

        self._cluster: Executor = client.get_executor(pure=False)
        self._lost: type[Exception] = KilledWorker
        self._readers = [Worker() for _ in range(readers)]
        self._idle: SimpleQueue[Worker] = SimpleQueue()
        for reader in self._readers:
            self._idle.put(reader)
        self._threads = ThreadPoolExecutor(readers)

    def submit(  # type: ignore[override]  # variants are all that it knows to ship
        self, _work: Callable[[Task], VariantRow], task: Task, /
    ) -> Future[VariantRow]:
        """Have a variant read and sent off; return what will be its answer.

        Parameters
        ----------
        _work : callable
            Not called: what is sent off is always a variant.
        task : Task
            The variant, and what is asked of it.
        """
        answer: Future[VariantRow] = Future()
        self._threads.submit(self._send, task, answer)
        return answer

    def _send(self, task: Task, answer: Future[VariantRow]) -> None:
        """Read a variant and send it off; one that cannot be read has its answer at once."""
        reader = self._idle.get()
        try:
            parcel: Sent = reader.call(_READ, task, timeout_s=task[4])
            sent = self._cluster.submit(check_sent, task, parcel)
        except FixturecheckError as trouble:
            answer.set_result(refusal(task, trouble))
            return
        except Exception as trouble:  # noqa: BLE001 -- whoever waits for the answer gets it
            answer.set_exception(trouble)
            return
        finally:
            self._idle.put(reader)

        def arrived(future: Future[VariantRow]) -> None:
            try:
                answer.set_result(replace(future.result(), sources=parcel.sources))
            except self._lost:
                # It was given to one worker after another, and all of them died.
                answer.set_result(replace(crashed(task), sources=parcel.sources))
            except CancelledError:
                says = "the scheduler of the cluster was lost; variants that were worked out are kept"
                answer.set_exception(FixturecheckError(says))
            except Exception as trouble:  # noqa: BLE001 -- as above
                answer.set_exception(trouble)

        sent.add_done_callback(arrived)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the reading processes; the cluster goes on.

        Parameters
        ----------
        wait : bool
            Whether to wait for what is under way.
        cancel_futures : bool
            Whether variants whose reading has not begun are left out.
        """
        self._threads.shutdown(wait=wait, cancel_futures=cancel_futures)
        # This executor of dask's cancels what is under way, and knows no other manner.
        self._cluster.shutdown(wait=wait)
        for reader in self._readers:
            reader.close()


@contextmanager
def cluster(address: str, readers: int) -> Iterator[tuple[Callable[[int], Executor], int]]:
    """Join a cluster.

    Parameters
    ----------
    address : str
        Of its scheduler, as `tcp://machine:8786`.
    readers : int
        How many variants are read at once on this machine.

    Yields
    ------
    tuple
        What makes an executor, and how many variants are under way at once.

    Raises
    ------
    SetupError
        No scheduler answers there, it has no workers, or they run another version.
    """
    try:
        from distributed import Client  # noqa: PLC0415 -- an extra that most do without
    except ModuleNotFoundError as missing:
        raise SetupError(
            f"--scheduler needs {missing.name}: pip install 'fixturecheck[cluster]'"
        ) from missing
    try:
        client = Client(address, timeout=_ANSWERS_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as reason:
        raise SetupError(f"--scheduler {address}: no scheduler answers there") from reason
    with client:
        threads = client.nthreads()
        if not threads:
            raise SetupError(f"--scheduler {address}: the cluster has no workers; start some")
        try:
            versions = client.run(_version_there)
        except Exception as reason:
            raise SetupError(
                f"--scheduler {address}: its workers cannot run fixturecheck ({reason})"
            ) from reason
        others = sorted({host for host, version in versions.values() if version != code_digest()})
        if others:
            raise SetupError(
                f"--scheduler {address}: another version of fixturecheck runs on {', '.join(others)}"
            )
        yield lambda _workers: Shipping(client, readers), sum(threads.values()) + readers


def _version_there() -> tuple[str, str]:
    """Return the name of the machine that this runs on, and what tells its version."""
    return socket.gethostname(), code_digest()
