"""Work done at once: what comes back, errors of either, and what a process has left of it."""

import threading
from contextvars import ContextVar

import pytest

from fixturecheck.errors import NotComputedError
from fixturecheck.threads import at_once

MET_S = 60.0


def test_both_run_at_once_and_answer_in_their_order(monkeypatch):
    monkeypatch.setattr("fixturecheck.threads.cores", lambda: 2)
    both = threading.Barrier(2)

    def meets(answer):
        both.wait(MET_S)
        return answer

    # Done one after the other, the first would wait in vain.
    assert at_once(lambda: meets("one"), lambda: meets("other")) == ("one", "other")
    assert not any("ThreadPool" in t.name for t in threading.enumerate())


def test_on_one_core_they_run_in_turn_in_the_thread_that_asked(monkeypatch):
    monkeypatch.setattr("fixturecheck.threads.cores", lambda: 1)
    here = threading.get_ident()
    assert at_once(threading.get_ident, threading.get_ident) == (here, here)


@pytest.mark.parametrize("count", [1, 2])
def test_an_error_of_either_is_raised_that_of_the_first_first(monkeypatch, count):
    monkeypatch.setattr("fixturecheck.threads.cores", lambda: count)

    def fails(why):
        raise NotComputedError(why)

    with pytest.raises(NotComputedError, match="other"):
        at_once(lambda: 1, lambda: fails("other"))
    with pytest.raises(NotComputedError, match="one"):
        at_once(lambda: fails("one"), lambda: fails("other"))


def test_what_the_caller_has_set_holds_in_both(monkeypatch):
    monkeypatch.setattr("fixturecheck.threads.cores", lambda: 2)
    stated: ContextVar[int] = ContextVar("stated", default=0)
    stated.set(3)
    assert at_once(stated.get, stated.get) == (3, 3)
