"""What a repository must not carry: paths of one machine, unfinished business, stray binaries."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.meta.source import ROOT, repository_files

# Put together here so that this file does not hold them.
LATER = ["TO" + "DO", "FIX" + "ME", "XX" + "X:", "HA" + "CK:"]
PLACES = [
    "/" + place + "/" for place in ("work", "opt", "root", "home", "Users", "tmp", "scratch", "workspace")
]
KEPT_OUT = re.compile(
    "|".join(
        [
            *(rf"\b{word}(?!\w)" for word in LATER),
            # A path starts a word; `a/tmp/b` is part of another, and `/usr/bin/env` is the same everywhere.
            *(rf"(?<![\w./~)-]){re.escape(place)}" for place in PLACES),
            r"\b[A-Z]:\\\w",
        ]
    )
)
TEXT = {
    ".py",
    ".md",
    ".toml",
    ".json",
    ".css",
    ".html",
    ".txt",
    ".yml",
    ".yaml",
    ".cfg",
    ".ini",
    ".sh",
    ".step",
    ".stp",
    "",
}
MOST_BYTES = 6_000_000


def _text_files() -> list[Path]:
    return [p for p in repository_files() if p.suffix.lower() in TEXT]


def test_nothing_kept_out_is_in() -> None:
    assert [f"{p.relative_to(ROOT)}, {what}" for p in _text_files() for what in _kept_out(p)] == []


def _kept_out(path: Path) -> Iterator[str]:
    text = path.read_text(encoding="utf-8", errors="replace")
    # A plain look first: the pattern takes seconds on a STEP file.
    if not any(mark in text for mark in (*LATER, *PLACES, ":\\")):
        return
    for hit in KEPT_OUT.finditer(text):
        yield f"line {text.count(chr(10), 0, hit.start()) + 1}: {hit[0]}"


@pytest.mark.parametrize(
    ("line", "kept_out"),
    [
        (f"read {PLACES[0]}main/x.py", True),
        (f'"{PLACES[2]}.cache"', True),
        (f"# {LATER[0]} later", True),
        ("C:" + r"\parts", True),
        ("https://example.org" + PLACES[3] + "page", False),
        ("#!/usr/bin/env bash", False),
        ("mastodon", False),
    ],
)
def test_kept_out_words_are_seen(line: str, kept_out: bool) -> None:
    assert bool(KEPT_OUT.search(line)) is kept_out


def test_no_file_is_too_big_to_clone() -> None:
    assert {str(p.relative_to(ROOT)) for p in repository_files() if p.stat().st_size > MOST_BYTES} == set()


def test_no_file_is_made_by_running() -> None:
    made = {".pyc", ".so", ".whl", ".log"}
    assert [p for p in repository_files() if p.suffix in made] == []
