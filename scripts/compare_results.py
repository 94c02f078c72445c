"""Compare the verdicts and numbers of two folders of results, sentences left out.

    python scripts/compare_results.py BEFORE AFTER

Each folder holds results as `fixturecheck check` writes them, one below the other under equal names. Findings
are matched by what they answer and are about. Every difference is printed; the exit code is 1 where there
is any.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

WORDS = {"says", "remedy", "source", "reason", "why", "how", "text", "title"}
"""Keys that hold sentences, which may be written again."""
PLACES = {"groups"}
"""Keys that hold places in the list of findings, which is sorted."""


def main(before: Path, after: Path) -> int:
    """Print what differs between two folders, and return the exit code."""
    found = 0
    ours, theirs = (
        {p.parent.relative_to(root): p for p in root.rglob("result.json")} for root in (before, after)
    )
    for name in sorted(ours.keys() | theirs.keys()):
        if name not in ours or name not in theirs:
            print(f"{name}: only {'after' if name in theirs else 'before'}")
            found += 1
            continue
        old, new = (json.loads(path.read_text(encoding="utf-8")) for path in (ours[name], theirs[name]))
        for where, was, now in _differences(_by_place(old), _by_place(new)):
            print(f"{name}{where}: {was!r} -> {now!r}")
            found += 1
    print(f"{found} differences in {len(ours)} results")
    return 1 if found else 0


def _by_place(result: dict[str, Any]) -> dict[str, Any]:
    """Return a result with its findings under what they answer and are about."""
    findings: dict[str, Any] = {}
    for one in result["findings"]:
        place = " ".join(str(one.get(key) or "") for key in ("check", "subject", "kind", "about", "cut"))
        while place in findings:
            place += "'"
        findings[place] = one
    return {key: value for key, value in result.items() if key not in PLACES} | {"findings": findings}


def _differences(old: Any, new: Any, where: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Yield where two values differ, with both."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in sorted(old.keys() | new.keys()):
            if key not in WORDS:
                yield from _differences(old.get(key), new.get(key), f"{where}/{key}")
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for i, (was, now) in enumerate(zip(old, new, strict=True)):
            yield from _differences(was, now, f"{where}[{i}]")
    elif old != new:
        yield where, old, new


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2])))
