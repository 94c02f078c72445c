"""`fixturecheck completion`: what completes the commands in a shell."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from pathlib import Path

from fixturecheck.commands.shared import Parser
from fixturecheck.commands.terminal import GO, NOT_COMPUTED, say

SHELLS = ("bash", "zsh", "fish", "tcsh")


def add(commands: argparse._SubParsersAction[Parser], parser: Parser) -> None:
    """Add the command; what it completes is the whole parser.

    Parameters
    ----------
    commands : subparsers action
        The commands that it joins.
    parser : Parser
        The whole parser, commands included.
    """
    completion = commands.add_parser(
        "completion", help="print what completes these commands in your shell; its --help says how to use it",
        description="Prints a script for your shell. bash: fixturecheck completion bash > "
        "~/.local/share/bash-completion/completions/fixturecheck; zsh: into a file _fixturecheck on the "
        "fpath; fish: into ~/.config/fish/completions/fixturecheck.fish.",
    )  # fmt: skip
    completion.add_argument("shell", choices=SHELLS)
    completion.set_defaults(command=lambda options: _completion(parser, options.shell))


def _completion(parser: argparse.ArgumentParser, shell: str) -> int:
    """Print the script that completes the commands; files are completed where a file is asked for."""
    import shtab  # noqa: PLC0415 -- only this command needs it

    _complete_files(parser, shtab.FILE)
    return GO if say(f"{shtab.complete(parser, shell=shell)}\n") else NOT_COMPUTED


def _complete_files(parser: argparse.ArgumentParser, files: Mapping[str, object]) -> None:
    for action in parser._actions:  # noqa: SLF001 -- argparse has no public way to list them
        if isinstance(action, argparse._SubParsersAction):  # noqa: SLF001 -- its parsers likewise
            for inner in action.choices.values():
                _complete_files(inner, files)
        elif action.type is Path:
            action.complete = files  # type: ignore[attr-defined]  # read by shtab
