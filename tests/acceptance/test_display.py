"""What is shown while a check runs: a bar on a terminal, lines elsewhere, at most one a second."""

from __future__ import annotations

import io

from fixturecheck.commands.terminal import Display
from tests.processes import wait_until


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


class Closed(io.StringIO):
    def write(self, _text: str) -> int:
        raise OSError(5, "Input/output error")


def test_a_terminal_has_a_bar_that_is_wiped_at_the_end() -> None:
    seen = Terminal()
    with Display(seen) as display:
        display.show("contacts", 0.5)
        display.tell(["no-go"])
    assert " 50%  contacts" in seen.getvalue()
    assert "\r\x1b[Kso far: no-go\n" in seen.getvalue()
    # The bar is there again below the line.
    assert " 50%  contacts" in seen.getvalue().split("so far: no-go\n")[1]
    assert seen.getvalue().endswith("\r\x1b[K")


def test_a_pipe_has_a_line_for_each_stage() -> None:
    now = [100.0]
    seen = io.StringIO()
    with Display(seen, clock=lambda: now[0]) as display:
        for at_s, doing, share in [
            (0, "read", 0.1),
            (2, "contacts", 0.3),
            (3.5, "contacts", 0.4),
            (9, "rest", 0.5),
        ]:
            now[0] = 100.0 + at_s
            display.show(doing, share)
    assert [line.split() for line in seen.getvalue().splitlines()] == [
        ["0.0", "s", "10%", "read"],
        ["2.0", "s", "30%", "contacts"],
        ["9.0", "s", "50%", "rest"],
    ]


def test_stages_that_follow_at_once_are_one_line_a_second() -> None:
    """The last of them is told when its second has passed, though nothing more is reported."""
    seen = io.StringIO()
    with Display(seen) as display:
        for i in range(200):
            display.show(f"stage {i}", i / 200)
        assert seen.getvalue().count("\n") == 1
        wait_until(lambda: seen.getvalue().count("\n") > 1)
        assert [line.split()[-1] for line in seen.getvalue().splitlines()] == ["0", "199"]


def test_quiet_and_closed_are_silent() -> None:
    seen = io.StringIO()
    with Display(seen, quiet=True) as display:
        display.show("contacts", 0.5)
        display.tell(["no-go"])
    assert seen.getvalue() == ""
    with Display(Closed()) as display:
        display.show("contacts", 0.5)
        display.tell(["no-go"])
