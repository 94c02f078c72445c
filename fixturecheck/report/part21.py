"""How a Part 21 text is put into an order that does not change from run to run.

The kernel lists styles in the order of memory addresses, and counts instances on from the file it wrote
before. Everything else is in a fixed order already, so the styles are sorted by what they colour and
numbered anew, and the instances are counted from one.
"""

from __future__ import annotations

import itertools
import re

_ROOT = "MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION"
_ENTITY = re.compile(r"#(\d+)\s*=\s*((?:'(?:[^']|'')*'|[^';])*);\n?", re.DOTALL)
_REFERENCE = re.compile(r"'(?:[^']|'')*'|#(\d+)")


_INSTANCE = re.compile(r"(NEXT_ASSEMBLY_USAGE_OCCURRENCE\(')\d+(' *(?:'(?:[^']|'')*'|[^';])*;)")
_BREAK = re.compile(r"'(?:[^']|'')*'|\s*\n\s*")


def settled(text: str) -> str:
    """Return the same Part 21 text with its instances counted from one and its styles in a fixed order."""
    count = itertools.count(1)
    return _settle_styles(_INSTANCE.sub(lambda m: _on_one_line(f"{m[1]}{next(count)}{m[2]}"), text))


def _on_one_line(body: str) -> str:
    """Undo line breaks, which fall where the old numbers made them fall; strings keep theirs."""
    return _BREAK.sub(lambda m: m[0] if m[0].startswith("'") else "", body)


def _settle_styles(text: str) -> str:
    """Sort the styles by the item that they colour; text without styles comes back unchanged."""
    first = re.search(rf"^#(\d+)\s*=\s*{_ROOT}\(", text, re.MULTILINE)
    end = text.find("ENDSEC;", first.start()) if first else -1
    if first is None or end < 0:
        return text
    start_number = int(first.group(1))
    tail = {int(n): body for n, body in _ENTITY.findall(text[first.start() : end])}
    roots = [n for n, body in tail.items() if body.startswith(_ROOT)]
    bodies = {n: _sorted_items(body, tail) if n in roots else body for n, body in tail.items()}
    roots.sort(key=lambda n: _coloured(bodies[n], tail))
    ordered = _walk(roots, bodies)
    numbers = {old: start_number + i for i, old in enumerate(ordered)}
    lines = [f"#{numbers[old]} = {_renumbered(bodies[old], numbers)};\n" for old in ordered]
    return text[: first.start()] + "".join(lines) + text[end:]


def _references(body: str) -> list[int]:
    return [int(m.group(1)) for m in _REFERENCE.finditer(body) if m.group(1)]


def _target(style: int, tail: dict[int, str]) -> int:
    """Return the number of the geometry that a styled item colours: its last reference outside."""
    outside = [n for n in _references(tail[style]) if n not in tail]
    return outside[-1] if outside else style


def _coloured(root_body: str, tail: dict[int, str]) -> list[int]:
    return [_target(n, tail) for n in _references(root_body) if n in tail]


def _sorted_items(root_body: str, tail: dict[int, str]) -> str:
    """Rewrite a representation with its items in the order of what they colour."""
    references = _references(root_body)
    items = sorted((n for n in references if n in tail), key=lambda n: _target(n, tail))
    context = next(n for n in references if n not in tail)
    listed = ",".join(f"#{n}" for n in items)
    return f"{_ROOT}('',({listed}),#{context})"


def _walk(roots: list[int], bodies: dict[int, str]) -> list[int]:
    """List the style entities depth first, each once."""
    ordered: list[int] = []
    seen: set[int] = set()
    pile = list(reversed(roots))
    while pile:
        number = pile.pop()
        if number in seen:
            continue
        seen.add(number)
        ordered.append(number)
        pile.extend(n for n in reversed(_references(bodies[number])) if n in bodies)
    return ordered


def _renumbered(body: str, numbers: dict[int, int]) -> str:
    def swap(match: re.Match[str]) -> str:
        if match.group(1) is None:
            return match.group(0)
        number = int(match.group(1))
        return f"#{numbers.get(number, number)}"

    return _on_one_line(_REFERENCE.sub(swap, body))
