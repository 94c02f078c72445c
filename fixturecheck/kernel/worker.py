"""How work that may crash or hang the interpreter is run: in a process of its own, watched.

The geometry kernel is native code; on rare input it dies or never returns. What runs here can do neither
to whoever asked: a death becomes an error that says in which step it happened.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import signal
import sys
import time
import traceback
from collections.abc import Callable
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any

from fixturecheck.errors import FixturecheckError, KernelError

Progress = Callable[[str, float], None]

_GRACE_S = 2.0


class CrashError(KernelError):
    """The child process died or ran out of time; `step` is the last one that it reported."""

    def __init__(self, message: str, step: str) -> None:
        super().__init__(message)
        self.step = step


class UnforeseenError(FixturecheckError):
    """The child raised what nobody foresaw; `trace` is its traceback."""

    def __init__(self, message: str, trace: str) -> None:
        super().__init__(message)
        self.trace = trace


def run_guarded(
    target: str, *args: Any, timeout_s: float | None = None, progress: Progress | None = None
) -> Any:
    """Call a function in a child process and return what it returns.

    Parameters
    ----------
    target : str
        `module:function`; it is called as `function(*args, progress=...)`.
    *args
        Picklable arguments.
    timeout_s : float, optional
        The child is ended when it takes longer.
    progress : callable, optional
        Called here with each step's name and share as the child reports them.

    Returns
    -------
    object
        The function's value; it must be picklable.

    Raises
    ------
    FixturecheckError
        What the child raised, of the same class.
    CrashError
        The child died of a signal, left without an answer or ran out of time.
    UnforeseenError
        The child raised something outside the project's tree of errors.
    """
    context = get_context("spawn")
    inlet, outlet = context.Pipe(duplex=False)
    child = context.Process(target=_child, args=(outlet, target, args), daemon=False)
    child.start()
    outlet.close()
    deadline = None if timeout_s is None else time.monotonic() + timeout_s
    try:
        return _listen(child, inlet, deadline, timeout_s, progress)
    finally:
        _end(child)
        inlet.close()


def _listen(
    child: BaseProcess,
    inlet: Connection,
    deadline: float | None,
    timeout_s: float | None,
    progress: Progress | None,
) -> Any:
    """Read the child's messages until it answers, dies or runs out of time."""
    step = "start"
    while True:
        left = None if deadline is None else max(0.0, deadline - time.monotonic())
        if not inlet.poll(left):
            message = f"not finished after {timeout_s:g} s; stopped in step '{step}'"
            raise CrashError(message, step)
        try:
            kind, value = inlet.recv()
        except EOFError:
            child.join(_GRACE_S)
            message = f"the geometry kernel crashed ({_cause(child.exitcode)}) in step '{step}'"
            raise CrashError(message, step) from None
        if kind == "step":
            step = value[0]
            if progress is not None:
                progress(*value)
        elif kind == "answer":
            return value
        elif kind == "error":
            raise value
        else:
            message = f"internal error in step '{step}': {value[0]}"
            raise UnforeseenError(message, value[1])


def _cause(exit_code: int | None) -> str:
    """Name the signal that ended a process, or its exit status."""
    if exit_code is not None and exit_code < 0:
        return signal.Signals(-exit_code).name
    return f"exit status {exit_code}"


def _end(child: BaseProcess) -> None:
    """Make sure that neither the child nor anything that it started is left running."""
    child.join(0.0 if child.is_alive() else _GRACE_S)
    if child.exitcode is None:
        child.join(_GRACE_S / 4)
    if child.pid is not None and hasattr(os, "killpg"):
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(child.pid, signal.SIGKILL)
    if child.is_alive():
        child.kill()
    child.join()


def _child(outlet: Connection, target: str, args: tuple[Any, ...]) -> None:
    """Run the function in the child and send back what comes of it."""
    if hasattr(os, "setsid"):
        os.setsid()
    # The kernel prints to file descriptor 1 from native code; only the parent speaks on standard output.
    sys.stdout = sys.stderr
    with open(os.devnull, "wb") as nowhere:  # noqa: PTH123 -- os.devnull is a name, not a path to build on
        os.dup2(nowhere.fileno(), 1)
    try:
        module, name = target.split(":")
        function = getattr(importlib.import_module(module), name)
        value = function(*args, progress=lambda doing, share: outlet.send(("step", (doing, share))))
        outlet.send(("answer", value))
    except FixturecheckError as trouble:
        outlet.send(("error", trouble))
    except Exception as trouble:  # noqa: BLE001 -- whatever it is, the parent must hear of it
        outlet.send(("unforeseen", (f"{type(trouble).__name__}: {trouble}", traceback.format_exc())))
    finally:
        outlet.close()
