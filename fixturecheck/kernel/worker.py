"""How work that may crash or hang the interpreter is run: in a process of its own, watched.

The geometry kernel is native code; on rare input it crashes or never returns. In a child process neither
harms the caller: a crash becomes an error that names the step in which it happened. The child does not
outlive its parent either. It holds the end of a pipe that closes when the parent dies, however it dies, and a
small process beside it then ends everything that the child had started.
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import importlib.util
import io
import os
import pickle
import queue
import select
import signal
import subprocess
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Callable, Sequence
from enum import StrEnum
from importlib.machinery import ModuleSpec
from types import ModuleType, TracebackType
from typing import IO, Any, TextIO

from fixturecheck.errors import FixturecheckError, KernelError, SetupError
from fixturecheck.progress import Progress
from fixturecheck.stopping import cause_of_end

_GRACE_S = 2.0
_LOOKS_UP_S = 0.2
_MOST_FILES = 65536
_LONGEST_TRACE = 20_000
_NO_LIBRARY = "cannot open shared object file"
"""What the loader of glibc says of a library that a bare container lacks."""
_BORN_BETWEEN = (100_000, 20, 100)
"""Objects made between two collections of the youngest, and collections between those of either older age."""
_NOTED = frozenset({"__path__", "__warningregistry__", "__wrapped__"})
"""What Python itself asks of every module, and a module in one file has none of."""
_SHOWS = "cadquery.vis"
"""What opens windows: it counts on all that draws being loaded."""


class _Says(StrEnum):
    """What a message of the child holds; the last three end a call.

    `STEP`: what it is at and how far it is. `TOLD`: a thing that is told before the answer. `PRINTED`: text.
    `ANSWER`: the value. `ERROR`: an error of the project's tree. `UNFORESEEN`: words and trace of any other.
    """

    STEP = "step"
    TOLD = "told"
    PRINTED = "printed"
    ANSWER = "answer"
    ERROR = "error"
    UNFORESEEN = "unforeseen"


_Message = tuple[_Says, Any]


class CrashError(KernelError):
    """The child process died or ran out of time.

    Parameters
    ----------
    step : str
        The last step that it reported.
    trace : str
        What it and its libraries had printed.
    """

    def __init__(self, message: str, step: str, trace: str = "") -> None:
        super().__init__(message)
        self.step = step
        self.trace = trace


class UnforeseenError(FixturecheckError):
    """The child raised an error from outside the project's tree; `trace` is its traceback."""

    def __init__(self, message: str, trace: str) -> None:
        super().__init__(message)
        self.trace = trace


def run_guarded(
    target: str,
    *args: Any,
    timeout_s: float | None = None,
    progress: Progress | None = None,
    hear: Callable[[Any], None] | None = None,
    prints: Callable[[str], object] | None = None,
    noise: TextIO | None = None,
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
    hear : callable, optional
        Called here with each thing that the child tells before it is done. With it the function is also
        given `tell`, which takes a picklable thing.
    prints : callable, optional
        Called here with each line that Python code in the child prints, as a user's script may; without it
        they go to standard error.
    noise : text stream, optional
        Gets what libraries in the child wrote to its standard error, and native code to its standard output,
        once it has ended. Without it that is dropped.

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
    with Worker(noise=noise, once=True) as worker:
        return worker.call(target, *args, timeout_s=timeout_s, progress=progress, hear=hear, prints=prints)


class Worker:
    """A child process that answers one call after another; after it died the next call starts another.

    Parameters
    ----------
    noise : text stream, optional
        As for `run_guarded`.
    once : bool
        It answers one call and ends.
    """

    def __init__(self, *, noise: TextIO | None = None, once: bool = False) -> None:
        self._noise, self._once = noise, once
        self._started: _Child | None = None

    def __enter__(self) -> Worker:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def pid(self) -> int | None:
        """The number of the child process; None where none runs."""
        return None if self._started is None else self._started.process.pid

    def call(
        self,
        target: str,
        *args: Any,
        timeout_s: float | None = None,
        progress: Progress | None = None,
        hear: Callable[[Any], None] | None = None,
        prints: Callable[[str], object] | None = None,
    ) -> Any:
        """Call a function in the child process and return what it returns; as `run_guarded`.

        Parameters
        ----------
        target, *args, timeout_s, progress, hear, prints
            As for `run_guarded`; the time starts with this call.

        Returns
        -------
        object
            The function's value.

        Raises
        ------
        FixturecheckError
            What the child raised, of the same class.
        CrashError
            The child died of a signal, left without an answer or ran out of time.
        UnforeseenError
            The child raised something outside the project's tree of errors.
        """
        deadline = None if timeout_s is None else time.monotonic() + timeout_s
        child = self._started = self._started or _Child(once=self._once)
        answered = False
        try:
            _ask(child.process, (target, args, hear is not None))
            value = child.answer(progress, hear, prints or sys.stderr.write, deadline, timeout_s)
            answered = True
        except (CrashError, UnforeseenError):
            raise
        except FixturecheckError:
            answered = True
            raise
        finally:
            # Whatever else ended the call, such as a signal, nobody knows what the child is at.
            if not answered:
                self.close()
        return value

    def close(self) -> None:
        """End the child and all that it started."""
        child, self._started = self._started, None
        if child is not None:
            noise = child.end()
            if self._noise is not None:
                self._noise.write(noise)


def _ask(child: subprocess.Popen[bytes], call: tuple[str, tuple[Any, ...], bool]) -> None:
    """Hand the call over; the pipe stays open, and closes when this process ends."""
    if child.stdin is None:
        raise KernelError("the child process was started without a pipe")
    # A child that died already shows when it is listened to.
    with contextlib.suppress(BrokenPipeError):
        child.stdin.write(pickle.dumps(call))
        child.stdin.flush()


class _Child:
    """A child process and its messages, read by a thread so that waiting can time out on every system."""

    def __init__(self, *, once: bool) -> None:
        self._printed = tempfile.TemporaryFile()  # noqa: SIM115 -- closed in end
        # It finds modules where this process does.
        start = (
            f"import sys; sys.path[:] = {sys.path!r}; from fixturecheck.kernel.worker import serve; "
            f"serve(once={once})"
        )
        self.process = subprocess.Popen(  # noqa: S603 -- our own module, no outside input
            [sys.executable, "-c", start],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._printed,
            # Out of reach of what a terminal sends to its group, from the very first.
            start_new_session=True,
        )
        self._queue: queue.SimpleQueue[_Message | None] = queue.SimpleQueue()
        threading.Thread(target=self._read, daemon=True).start()

    def end(self) -> str:
        """End it and all that it started, and return the end of what its libraries printed."""
        _end(self.process)
        with self._printed:
            return _read_back(self._printed)

    def _read(self) -> None:
        if hasattr(signal, "pthread_sigmask"):
            signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM, signal.SIGHUP})
        stream = self.process.stdout
        # Whatever breaks the stream off, the child has no more to say.
        with contextlib.suppress(Exception):
            while stream is not None:
                self._queue.put(pickle.load(stream))  # noqa: S301 -- from our own child
        self._queue.put(None)

    def answer(
        self,
        progress: Progress | None,
        hear: Callable[[Any], None] | None,
        prints: Callable[[str], object],
        deadline: float | None,
        timeout_s: float | None,
    ) -> Any:
        """Return the child's value; raise what it raised, or how it ended."""
        step = "start"
        while (message := self._next(step, deadline, timeout_s)) is not None:
            match message:
                case _Says.STEP, (step, share):
                    if progress is not None:
                        progress(step, share)
                case _Says.TOLD, thing:
                    if hear is not None:
                        hear(thing)
                case _Says.PRINTED, text:
                    prints(text)
                case _Says.ANSWER, value:
                    return value
                case _Says.ERROR, trouble:
                    raise trouble
                case _Says.UNFORESEEN, (words, trace):
                    raise UnforeseenError(f"internal error in step '{step}': {words}", trace)
        raise self._crash(step)

    def _next(self, step: str, deadline: float | None, timeout_s: float | None) -> _Message | None:
        """Wait for a message; None when there will be no more."""
        while deadline is None or time.monotonic() < deadline:
            # A signal may reach another thread, and only wakes this one when it looks up.
            with contextlib.suppress(queue.Empty):
                return self._queue.get(timeout=_LOOKS_UP_S)
        raise CrashError(
            f"not finished after {timeout_s:g} s; stopped in step '{step}'", step, _read_back(self._printed)
        )

    def _crash(self, step: str) -> CrashError:
        """Say how the child ended without an answer."""
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.process.wait(_GRACE_S)
        code, last = self.process.returncode, _read_back(self._printed)
        if code is not None and code < 0:
            cause = cause_of_end(-code)
        else:
            lines = [line.strip() for line in last.splitlines() if line.strip()]
            end = f"exit status {code}" + (f": {lines[-1][:200]}" if lines else "")
            cause = f"the geometry kernel crashed ({end})"
        return CrashError(f"{cause} in step '{step}'", step, last)


def _read_back(printed: IO[bytes]) -> str:
    """Return the end of what was printed to a file."""
    size = printed.seek(0, io.SEEK_END)
    printed.seek(max(0, size - _LONGEST_TRACE))
    return printed.read().decode(errors="replace")


def _end(child: subprocess.Popen[bytes]) -> None:
    """Make sure that neither the child nor anything that it started is left running."""
    if hasattr(os, "killpg"):
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(child.pid, signal.SIGKILL)
    child.kill()
    child.wait()
    for stream in (child.stdin, child.stdout):
        if stream is not None:
            with contextlib.suppress(OSError):
                stream.close()


def serve(*, once: bool) -> None:
    """Answer calls that come on standard input, one or until it closes; this is what the child runs.

    Parameters
    ----------
    once : bool
        Whether to return after one call; else when standard input closes.
    """
    outlet = os.fdopen(os.dup(1), "wb")
    calls = os.fdopen(os.dup(0), "rb")

    def send(kind: _Says, value: Any) -> None:
        outlet.write(pickle.dumps((kind, value)))
        outlet.flush()

    _end_with_parent(once=once)
    collect_rarely()
    put_off("vtk")
    # The kernel prints to file descriptor 1 from native code; only the parent speaks on standard output.
    with open(os.devnull, "r+b") as nowhere:  # noqa: PTH123 -- os.devnull is a name, not a path to build on
        os.dup2(nowhere.fileno(), 0)
    os.dup2(2, 1)
    sys.stdout = passed = _Passed(send)
    while True:
        try:
            call = pickle.load(calls)  # noqa: S301 -- from our own parent
        except EOFError:
            return
        send(*_answered(call, send, passed))
        if once:
            return


def collect_rarely() -> None:
    """Look for garbage in cycles less often than Python does by default.

    The kernel and its libraries are half a million objects that stay; walking them again and again took an
    eighth of a check (7.3 against 6.3 CPU s of `rev_a`), and freed nothing.
    """
    gc.set_threshold(*_BORN_BETWEEN)


def _answered(
    call: tuple[str, tuple[Any, ...], bool], send: Callable[[_Says, Any], None], passed: _Passed
) -> _Message:
    """Make a call; return the message that it ends in."""
    target, args, tells = call
    more = {"tell": lambda thing: send(_Says.TOLD, thing)} if tells else {}
    try:
        module, name = target.split(":")
        function = getattr(importlib.import_module(module), name)
        value = function(*args, progress=lambda doing, share: send(_Says.STEP, (doing, share)), **more)
    except FixturecheckError as trouble:
        return _Says.ERROR, _portable(trouble)
    except Exception as trouble:  # noqa: BLE001 -- whatever it is, the parent must hear of it
        if isinstance(trouble, ImportError) and _NO_LIBRARY in str(trouble):
            message = f"a library of the system is missing ({trouble}); on Debian install libgl1"
            return _Says.ERROR, _portable(FixturecheckError(message))
        return _Says.UNFORESEEN, (f"{type(trouble).__name__}: {trouble}", traceback.format_exc())
    finally:
        passed.finish()
        from fixturecheck.cache import current  # noqa: PLC0415 -- NumPy, which the run itself has loaded

        if (kept := current()).trouble:
            send(_Says.PRINTED, f"fixturecheck: {kept.trouble}\n")
            kept.trouble = ""
    return _Says.ANSWER, value


class _Passed(io.TextIOBase):
    """Standard output of the child: what is printed goes to the parent, line by line."""

    def __init__(self, send: Callable[[_Says, Any], None]) -> None:
        self._send = send
        self._begun = ""

    def writable(self) -> bool:
        return True

    def write(self, text: str) -> int:
        whole, newline, self._begun = (self._begun + text).rpartition("\n")
        if newline:
            self._send(_Says.PRINTED, whole + newline)
        return len(text)

    def finish(self) -> None:
        """Pass on a line that was not ended."""
        if self._begun:
            self._send(_Says.PRINTED, f"{self._begun}\n")
            self._begun = ""


def _portable(trouble: FixturecheckError) -> FixturecheckError:
    """Return an error as it can travel: the same, or one of the same words and exit code."""
    try:
        pickle.loads(pickle.dumps(trouble))  # noqa: S301 -- what was just written
    except Exception:  # noqa: BLE001 -- any class may fail in its own way to be put together again
        plain = SetupError if trouble.exit_code == SetupError.exit_code else FixturecheckError
        return plain(str(trouble))
    return trouble


def _end_with_parent(*, once: bool) -> None:
    """See to it that this process and all that it starts end when the parent does.

    A thread would not do: the kernel holds the interpreter's lock for minutes. So a fork of this process,
    made before anything heavy is loaded, waits for the pipe from the parent to close, and then ends the
    whole group. Where nothing can be forked, a thread does what it can: it reads the pipe, and so cannot
    serve a process to which more calls come.
    """
    lifeline = os.dup(0)
    if not hasattr(os, "fork"):
        if once:
            threading.Thread(target=_wait_and_end, args=(lifeline,), daemon=True).start()
        return
    if os.fork():
        os.close(lifeline)
        return
    try:
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, signal.SIG_IGN)
        # An open end of any other pipe would make the parent wait for this process too.
        os.closerange(0, lifeline)
        os.closerange(lifeline + 1, min(os.sysconf("SC_OPEN_MAX"), _MOST_FILES))
        _wait_and_end(lifeline)
    finally:
        os._exit(1)


def _wait_and_end(lifeline: int) -> None:
    """Wait until the pipe from the parent closes; then end this process's group, or this process."""
    if hasattr(select, "poll"):
        # Calls that come on the pipe are for another process: only its end is waited for.
        closed = select.poll()
        closed.register(lifeline, 0)
        closed.poll()
    else:
        while os.read(lifeline, 1):
            pass
    if hasattr(os, "killpg"):
        os.killpg(0, signal.SIGKILL)
    os._exit(1)


def put_off(name: str) -> None:
    """Let a library be loaded when something of it is first asked for.

    The kernel's bindings import all of VTK, hundreds of libraries, and use none of it unless a shape is
    handed over to it: a quarter of the time that cadquery takes to import.

    Parameters
    ----------
    name : str
        A module that is not within a package. One that is loaded, or is not there, stays as it is.

    Raises
    ------
    AttributeError
        By the module put off: what is asked for is only what Python itself notes of a module.
    """
    spec = None if name in sys.modules else importlib.util.find_spec(name)
    if spec is None or spec.loader is None:
        return
    module = importlib.util.module_from_spec(spec)

    def loaded(what: str) -> Any:
        """Load the library, unless it is only asked for what Python itself notes of a module."""
        if what in _NOTED:
            raise AttributeError(what)
        _load(module)
        return getattr(module, what)

    vars(module)["__getattr__"] = loaded
    sys.modules[name] = module
    sys.meta_path.insert(0, _Shown(module))


def _load(module: ModuleType) -> None:
    spec = module.__spec__
    if vars(module).pop("__getattr__", None) is not None and spec is not None and spec.loader is not None:
        spec.loader.exec_module(module)


class _Shown:
    """Loads what was put off as soon as a script is about to open a window; it finds nothing itself."""

    def __init__(self, module: ModuleType) -> None:
        self._module = module

    def find_spec(
        self, name: str, _path: Sequence[str] | None, _target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if name == _SHOWS:
            sys.meta_path.remove(self)
            _load(self._module)
        return None
