"""Lets `python -m fixturecheck` do what the command does."""

from __future__ import annotations

import sys

from fixturecheck.cli import main

if __name__ == "__main__":
    sys.exit(main())
