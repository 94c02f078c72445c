"""What the shop has, as lists for a terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from fixturecheck.shop.catalogue import EquipmentType, Param, equipment
from fixturecheck.shop.speed import stripes
from fixturecheck.shop.tables import finishes, materials, read


def _equipment() -> str:
    lines = ["equipment"]
    for kind in equipment().values():
        lines.append(f"  {kind.name}: {kind.says}")
        lines += [f"    {line}" for line in _notes(kind)]
        lines += [f"    {_param(p)}" for p in kind.params.values()]
    return "\n".join(lines) + "\n"


def _notes(kind: EquipmentType) -> list[str]:
    return [f"bodies: {kind.bodies}", f"origin: {kind.origin}", f"source: {kind.source}"]


def _param(param: Param) -> str:
    options = f"; one of {', '.join(param.options)}" if param.options else ""
    return f"{param.name} = {param.default}  {param.says}{options}"


def _materials() -> str:
    head = ("name", "kg/m3", "E MPa", "magnetic", "", "source")
    rows = [
        (
            m.name,
            f"{m.density_kg_m3:g}",
            _range(m.youngs_modulus_mpa),
            "yes" if m.magnetic else "no",
            m.says,
            m.source,
        )
        for m in materials().values()
    ]
    return _listed("materials", head, rows)


def _finishes() -> str:
    head = ("name", "Ra um", "Rz um", "", "source")
    rows = [(f.name, _range(f.ra_um), _range(f.rz_um), f.says, f.source) for f in finishes().values()]
    return _listed("finishes", head, rows)


def _wheels() -> str:
    rows = [
        (
            ", ".join(row["shapes"]),
            ", ".join(row["bonds"]),
            *(
                f"{row[f'{s}_sfpm']} ({row[f'{s}_sfpm'] * 0.3048 / 60:.0f} m/s)"
                for s in ("low", "medium", "high")
            ),
            row["source"],
        )
        for row in read("wheels")["speed_limit"]
    ]
    head = ("ISO 525 types", "bonds", "low sfpm", "medium sfpm", "high sfpm", "source")
    limits = _listed("wheels: highest surface speed; the mark on the wheel comes first", head, rows)
    marks = [(colour, f"{speed:g} m/s") for colour, speed in stripes().items()]
    return limits + _listed("wheels: stripes that allow more", ("stripe", "speed"), marks)


def _range(values: tuple[float, float]) -> str:
    low, high = values
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def _listed(title: str, head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    """Return a table in columns as wide as what stands in them; the last column runs on."""
    table = [head, *rows]
    widths = [max(len(row[i]) for row in table) for i in range(len(head) - 1)]
    lines = [title]
    for row in table:
        cells = [cell.ljust(width) for cell, width in zip(row, [*widths, 0], strict=True)]
        lines.append(f"  {'  '.join(cells)}".rstrip())
    return "\n".join(lines) + "\n"


SHELVES: Mapping[str, Callable[[], str]] = {
    "equipment": _equipment,
    "materials": _materials,
    "finishes": _finishes,
    "wheels": _wheels,
}
