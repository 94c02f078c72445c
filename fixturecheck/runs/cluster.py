"""A study's variants on other machines, through the scheduler of a cluster.

Here variants are read, in guarded processes; a set-up travels with its solids, so that no other machine
needs its files. There it is checked in a guarded process of each worker's own.
"""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from queue import SimpleQueue
from typing import Any

from fixturecheck.cache import code_digest
from fixturecheck.errors import FixturecheckError, SetupError
from fixturecheck.kernel.worker import Worker
from fixturecheck.runs.variant import Sent, Task, check_sent, crashed, refusal
from fixturecheck.study.model import VariantRow

_ANSWERS_S = 20.0
_READ = "fixturecheck.runs.variant:read_to_send"


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
        """Have a variant read and sent off; return what will be its answer."""
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
        """End the reading processes; the cluster goes on."""
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
        message = f"--scheduler needs {missing.name}: pip install 'fixturecheck[cluster]'"
        raise SetupError(message) from missing
    try:
        client = Client(address, timeout=_ANSWERS_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as reason:
        message = f"--scheduler {address}: no scheduler answers there"
        raise SetupError(message) from reason
    with client:
        threads = client.nthreads()
        if not threads:
            message = f"--scheduler {address}: the cluster has no workers; start some"
            raise SetupError(message)
        try:
            versions = client.run(_version_there)
        except Exception as reason:
            message = f"--scheduler {address}: its workers cannot run fixturecheck ({reason})"
            raise SetupError(message) from reason
        others = sorted({host for host, version in versions.values() if version != code_digest()})
        if others:
            message = f"--scheduler {address}: another version of fixturecheck runs on {', '.join(others)}"
            raise SetupError(message)
        yield lambda _workers: Shipping(client, readers), sum(threads.values()) + readers


def _version_there() -> tuple[str, str]:
    """Return the name of the machine that this runs on, and what tells its version."""
    return socket.gethostname(), code_digest()
