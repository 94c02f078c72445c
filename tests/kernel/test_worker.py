"""The guarded process: answers, errors, crashes, hangs and what is left running."""

from __future__ import annotations

import ctypes
import io
import os
import signal
import subprocess
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import pytest

from fixturecheck.errors import FixturecheckError, SetupError
from fixturecheck.kernel.worker import CrashError, UnforeseenError, Worker, run_guarded
from tests.processes import is_running, wait_until

Progress = Callable[[str, float], None]
HERE = "tests.kernel.test_worker"


def add(a: int, b: int, *, progress: Progress) -> int:
    progress("adding", 0.5)
    return a + b


def refuse(*, progress: Progress) -> None:
    raise SetupError("body 'pawl' has no face 'nest'")


def stumble(*, progress: Progress) -> None:
    progress("walking", 0.1)
    raise ZeroDivisionError


def lack(*, progress: Progress) -> None:
    raise ImportError("libGL.so.1: cannot open shared object file: No such file or directory")


def crash(*, progress: Progress) -> None:
    progress("cut corner", 0.3)
    ctypes.string_at(0)


def killed(*, progress: Progress) -> None:
    progress("reading", 0.2)
    os.kill(os.getpid(), signal.SIGKILL)


def leave(*, progress: Progress) -> None:
    progress("reading", 0.2)
    os._exit(7)


def hang(note: str, *, progress: Progress) -> None:
    progress("contacts", 0.3)
    child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
    Path(note).write_text(f"{os.getpid()} {child.pid}")
    time.sleep(60)


def shout(*, progress: Progress) -> str:
    os.write(1, b"native noise\n")
    print("a line begun", end="")  # noqa: T201 -- what a user's script may do
    print(" and ended")  # noqa: T201 -- what a user's script may do
    print("a script's print", end="")  # noqa: T201 -- what a user's script may do
    return "quiet"


def test_value_and_progress_come_back() -> None:
    steps: list[tuple[str, float]] = []
    assert run_guarded(f"{HERE}:add", 2, 3, progress=lambda *s: steps.append(s)) == 5
    assert steps == [("adding", 0.5)]


def test_own_errors_keep_their_class_and_words() -> None:
    with pytest.raises(SetupError, match="body 'pawl' has no face 'nest'") as caught:
        run_guarded(f"{HERE}:refuse")
    assert caught.value.exit_code == 2


def test_unforeseen_errors_name_the_step_and_keep_the_trace() -> None:
    with pytest.raises(
        UnforeseenError, match="internal error in step 'walking': ZeroDivisionError"
    ) as caught:
        run_guarded(f"{HERE}:stumble")
    assert caught.value.exit_code == 3
    assert "stumble" in caught.value.trace


def test_a_library_that_the_system_lacks_is_one_line_that_says_what_to_install() -> None:
    """A bare container has no OpenGL, which the kernel is linked with; the words are those of its loader."""
    with pytest.raises(
        FixturecheckError, match=r"missing \(libGL.so.1: .*\); on Debian install libgl1$"
    ) as caught:
        run_guarded(f"{HERE}:lack")
    assert not isinstance(caught.value, UnforeseenError)
    assert caught.value.exit_code == 3


def test_a_crash_is_an_error_that_names_signal_and_step() -> None:
    with pytest.raises(CrashError, match=r"crashed \(SIGSEGV\) in step 'cut corner'") as caught:
        run_guarded(f"{HERE}:crash")
    assert (caught.value.exit_code, caught.value.step) == (3, "cut corner")


def test_a_process_that_was_killed_is_not_told_as_a_crash_of_the_kernel() -> None:
    """No fault of a program raises SIGKILL; Linux sends it where memory is short (signal(7))."""
    with pytest.raises(CrashError, match=r"^memory ran out, or .* ended from outside \(SIGKILL\) in step"):
        run_guarded(f"{HERE}:killed")


def test_leaving_without_an_answer_is_a_crash() -> None:
    with pytest.raises(CrashError, match=r"exit status 7.*'reading'"):
        run_guarded(f"{HERE}:leave")


def test_a_hang_ends_with_everything_it_started(tmp_path: Path) -> None:
    note = tmp_path / "pids"
    with Worker() as worker:
        worker.call(f"{HERE}:add", 1, 2)  # started and imported: the two seconds are the hang's
        with pytest.raises(CrashError, match=r"not finished after 2 s; stopped in step 'contacts'"):
            worker.call(f"{HERE}:hang", str(note), timeout_s=2.0)
    wait_until(lambda: not any(is_running(int(pid)) for pid in note.read_text().split()))


def test_nothing_reaches_standard_output(capfd: pytest.CaptureFixture[str]) -> None:
    assert run_guarded(f"{HERE}:shout") == "quiet"
    out, err = capfd.readouterr()
    assert out == ""
    assert err == "a line begun and ended\na script's print\n"


def warn(*, progress: Progress) -> str:
    warnings.warn("a library thinks it over", stacklevel=1)
    os.write(2, b"native complaint\n")
    return "quiet"


def tell_twice(*, progress: Progress, tell: Callable[[object], None]) -> str:
    tell(["nest", "no-go"])
    progress("magnet", 0.5)
    tell(["hold", "go"])
    return "done"


class OddError(SetupError):
    """Cannot be put together again from its words alone."""

    def __init__(self, where: str, what: str) -> None:
        super().__init__(f"{where}: {what}")


def refuse_oddly(*, progress: Progress) -> None:
    raise OddError("gib.toml", "no such key")


def test_what_libraries_say_is_heard_on_request_only(capfd: pytest.CaptureFixture[str]) -> None:
    heard = io.StringIO()
    assert run_guarded(f"{HERE}:warn") == "quiet"
    assert capfd.readouterr() == ("", "")
    assert run_guarded(f"{HERE}:warn", noise=heard) == "quiet"
    assert "a library thinks it over" in heard.getvalue()
    assert "native complaint" in heard.getvalue()


def test_things_are_told_before_the_end_and_in_order() -> None:
    order: list[object] = []
    done = run_guarded(f"{HERE}:tell_twice", progress=lambda *s: order.append(s[0]), hear=order.append)
    assert (done, order) == ("done", [["nest", "no-go"], "magnet", ["hold", "go"]])


def test_an_error_that_does_not_travel_keeps_words_and_code() -> None:
    with pytest.raises(SetupError, match=r"gib\.toml: no such key") as caught:
        run_guarded(f"{HERE}:refuse_oddly")
    assert caught.value.exit_code == 2


def refuse_twice(*, progress: Progress) -> None:
    raise SetupError("no such key", "no such face")


def test_several_problems_come_out_of_a_worker_one_by_one() -> None:
    with pytest.raises(SetupError) as caught:
        run_guarded(f"{HERE}:refuse_twice")
    assert caught.value.problems == ("no such key", "no such face")
    assert str(caught.value) == "no such key; no such face"


COUNT: list[str] = []


def count(word: str, *, progress: Progress) -> tuple[int, list[str]]:
    COUNT.append(word)
    return os.getpid(), list(COUNT)


def test_a_worker_stays_warm_from_call_to_call() -> None:
    with Worker() as worker:
        first, second = (worker.call(f"{HERE}:count", word) for word in ("one", "two"))
        assert first == (worker.pid, ["one"])
        assert second == (worker.pid, ["one", "two"])


def test_a_mistake_leaves_a_worker_as_it_is_and_a_crash_starts_another() -> None:
    with Worker() as worker:
        pid, _ = worker.call(f"{HERE}:count", "one")
        with pytest.raises(SetupError, match="no face 'nest'"):
            worker.call(f"{HERE}:refuse")
        assert worker.call(f"{HERE}:count", "two") == (pid, ["one", "two"])
        for dies in ("crash", "leave"):
            with pytest.raises(CrashError, match="crashed"):
                worker.call(f"{HERE}:{dies}")
        assert worker.pid is None
        other, words = worker.call(f"{HERE}:count", "three")
        assert other != pid
        assert words == ["three"]
        wait_until(lambda: not is_running(pid))


DIES = """
import os, signal
from fixturecheck.kernel.worker import Worker
worker = Worker()
pid, _ = worker.call("tests.kernel.test_worker:count", "one")
print(pid, flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_worker_ends_when_its_parent_is_killed() -> None:
    """It is idle then, with no call to end, and its pipe has carried one already."""
    done = subprocess.run([sys.executable, "-c", DIES], capture_output=True, text=True, check=False)
    assert done.returncode < 0
    wait_until(lambda: not is_running(int(done.stdout)))
