"""A plain reader of Part 21 text (ISO 10303-21): entities by number, nothing from the kernel."""

from __future__ import annotations

import re
from dataclasses import dataclass

_ENTITY = re.compile(r"#(\d+)\s*=\s*((?:'(?:[^']|'')*'|[^';])*);", re.DOTALL)
_TYPE = re.compile(r"([A-Z_0-9]+)\s*\(")


@dataclass(frozen=True)
class File:
    header: str
    entities: dict[int, str]

    def kinds(self, kind: str) -> dict[int, str]:
        return {n: b for n, b in self.entities.items() if re.match(rf"{kind}\s*\(", b)}

    def first_strings(self, kind: str) -> list[str]:
        """Return the first string of every entity of a kind."""
        strings = (re.search(r"'((?:[^']|'')*)'", b) for b in self.kinds(kind).values())
        return [m.group(1).replace("''", "'") for m in strings if m]

    def references(self, number: int) -> list[int]:
        bare = re.sub(r"'(?:[^']|'')*'", "", self.entities[number])
        return [int(n) for n in re.findall(r"#(\d+)", bare)]

    def kind(self, number: int) -> str:
        match = _TYPE.match(self.entities[number])
        return match.group(1) if match else "complex"

    def reached(self, number: int, kind: str) -> list[int]:
        """Return all entities of a kind that an entity refers to, near or far."""
        found, pile, seen = [], [number], set()
        while pile:
            at = pile.pop()
            if at in seen:
                continue
            seen.add(at)
            if self.kind(at) == kind:
                found.append(at)
            pile += self.references(at)
        return found


def parse(text: str) -> File:
    header, data = text.split("DATA;", 1)
    return File(header=header, entities={int(n): " ".join(b.split()) for n, b in _ENTITY.findall(data)})
