"""What the command starts: `fixturecheck` and `python -m fixturecheck` alike."""

from __future__ import annotations

import signal
import sys


def main() -> int:
    """Run the command; until it is loaded, Ctrl-C ends it without a word.

    Returns
    -------
    int
        The exit code of the command.
    """
    before = signal.getsignal(signal.SIGINT)
    if before is signal.default_int_handler:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from fixturecheck import cli  # noqa: PLC0415 -- loading it is what must not leave a trace

    signal.signal(signal.SIGINT, before)
    return cli.main()


if __name__ == "__main__":
    sys.exit(main())
