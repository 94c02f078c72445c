"""What the report repeats of the set-up: what was stated, and apart from that what was assumed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from html import escape
from typing import Any

from fixturecheck.recorded import own_fields
from fixturecheck.result import Assumed, Result
from fixturecheck.setup.model import Body, Setup
from fixturecheck.units import Writing, metric_unit, suffix_of
from fixturecheck.wording.quantity import shown, stated

_ENDS = ("_deg", "_share", "_mm3")
_APART = ("flange", "guard", "push", "press", "clamps", "milling", "name")
_LIST = '<div class="wide"><table><tbody>\n{}\n</tbody></table></div>\n'


def setup_section(setup: Setup) -> str:
    """Return the section that lists what was stated."""
    rows = [(name, text) for name, text in _rows(setup) if text]
    rows += [(f"{body.role} {body.name}", _body(body)) for body in setup.bodies if body.group is None]
    return f"<section><h2>The set-up as stated</h2>\n{_LIST.format(_lines(rows))}</section>"


def assumed_line(result: Result) -> str:
    """Return one line about what was assumed, for a terminal; empty where nothing was."""
    rows = result.assumed
    if not rows:
        return ""
    told = [r for r in rows if not r.aside] or list(rows)
    named = ", ".join(f"{words(r.key)} {assumed_value(r, result.shown_in)}" for r in told[:3])
    return f"assumed, not stated: {len(rows)} values, such as {named}; report.html lists all"


def assumed_value(row: Assumed, units: str) -> str:
    """Return an assumed value with its unit, for a report in `units`."""
    if isinstance(row.value, bool):
        return "yes" if row.value else "no"
    if isinstance(row.value, str):
        return row.value
    return _quantity(row.value, row.unit, units)


def words(key: str) -> str:
    """Return a key in words, without its unit: `corner radius` for `corner_radius_mm`."""
    end = suffix_of(key) or next((e for e in _ENDS if key.endswith(e)), "")
    return key.removesuffix(end).replace("_", " ")


def assumed_section(result: Result) -> str:
    """Return the table of what was assumed, each value with what hangs on it; folded, since it is long."""
    if not result.assumed:
        return ""
    lines = "\n".join(
        f"<tr><td>{escape(row.of)}</td><td>{escape(words(row.key))}</td>"
        f"<td>{escape(assumed_value(row, result.shown_in))}</td><td>{escape(row.hangs_on)}</td></tr>"
        for row in result.assumed
    )
    head = "<thead><tr><th>of</th><th>assumed</th><th>value</th><th>what hangs on it</th></tr></thead>"
    return (
        "<section><h2>What was assumed</h2>\n"
        f"<p>{len(result.assumed)} values were not stated. State what differs on your machine; "
        "<code>fixturecheck keys</code> lists the keys.</p>\n"
        "<details><summary>Each value, and what hangs on it</summary>"
        f'<div class="wide"><table>{head}<tbody>\n{lines}\n</tbody></table></div></details></section>'
    )


def _rows(setup: Setup) -> Iterator[tuple[str, str]]:
    """Yield what was stated in each table, without what was left out."""
    units = setup.shown_in
    single: Iterable[tuple[str, Any]] = (
        ("wheel", setup.wheel),
        ("machine", setup.machine),
        ("flange", setup.machine.flange),
        ("guard", setup.machine.guard),
        ("tolerances", setup.tolerances),
        ("staging", setup.staging),
        ("holding", setup.holding),
        ("relief", setup.relief),
    )
    for name, record in single:
        if record is not None:
            yield name, _of_record(record, units)
    if setup.machine.guard is None:
        yield "guard", "none over the wheel"
    yield from _of_lists(setup, units)


def _of_lists(setup: Setup, units: str) -> Iterator[tuple[str, str]]:
    """Yield what was stated in the tables that there may be several of."""
    for seat in setup.seats:
        yield f"{seat.rank} seat", f"{seat.body}.{seat.face} on {seat.on}.{seat.on_face}"
    for cut in setup.cuts:
        yield f"cut {cut.name}", _of_record(cut, units)
    if setup.staging is not None:
        for name, push in setup.staging.push.items():
            yield f"push of {name}", _of_record(push, units)
        for press in setup.staging.press:
            yield "press", _of_record(press, units)
    if setup.holding is not None:
        for clamp in setup.holding.clamps:
            yield f"clamp {clamp.name}", _of_record(clamp, units)
        for mill in setup.holding.milling:
            yield f"mill {mill.name}", _of_record(mill, units)
    for check, level in setup.severity.items():
        yield "severity", f"a no-go of {check} counts as {level}"


def _of_record(record: Any, units: str) -> str:
    """Return the fields of a record that were stated, in words."""
    told = []
    for field in own_fields(type(record)):
        if field.name in record.stated and field.name not in _APART:
            value = getattr(record, field.name)
            if value is not None and value != ():
                told.append(f"{words(field.name)} {_written(value, field.name, units)}")
    return "; ".join(told)


def _body(body: Body) -> str:
    told = [f"material {body.material}"] if "material" in body.stated else []
    told += [f"finish {_written(body.finish, 'finish', '')}"] if body.finish else []
    told += [f"pole {body.pole}"] if body.pole else []
    told += ["fastened"] if body.fastened else []
    return "; ".join(told)


def _written(value: object, key: str, units: str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return _quantity(value, metric_unit(key), units)
    if isinstance(value, Mapping):
        every = {k: _written(v, key, units) for k, v in value.items()}
        return ", ".join(
            text if k == "*" and len(every) == 1 else f"{k}: {text}" for k, text in every.items()
        )
    if isinstance(value, tuple | list):
        inner = [_written(v, key, units) for v in value]
        return ", ".join(
            f"({text})" if isinstance(v, tuple) else text for v, text in zip(value, inner, strict=True)
        )
    return str(value)


def _quantity(value: float, unit: str, units: str) -> str:
    if unit == "m/min":
        return Writing(units=units).table_speed(value)
    if unit == "mm":
        return stated(value, units)
    return shown(value, unit, units) if unit else f"{value:g}"


def _lines(rows: Iterable[tuple[str, str]]) -> str:
    return "\n".join(f"<tr><td>{escape(name)}</td><td>{escape(text)}</td></tr>" for name, text in rows)
