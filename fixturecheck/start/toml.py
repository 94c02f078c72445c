"""Tables of a TOML file as somebody goes on with them: keys with remarks, guesses marked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

_COMMENT_AT = 46


@dataclass(frozen=True, slots=True, kw_only=True)
class TomlLine:
    """One key: its value, a remark, and whether it is a guess.

    Parameters
    ----------
    beside : tuple of str
        For a list whose entries stand each in a row of its own: what stands beside each.
    guessed_inside : tuple of str
        What inside the value is a guess, as the rest of a dotted key: `3.min_share`.
    """

    key: str
    value: object
    remark: str = ""
    guessed: bool = False
    beside: tuple[str, ...] = ()
    guessed_inside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TomlTable:
    """A table of the file.

    Parameters
    ----------
    header : str
        `[wheel]` or `[[cut]]`.
    path : str
        What its keys are called from outside, `cut.top`.
    remark : str
        What stands over it; empty for nothing.
    """

    header: str
    path: str
    lines: tuple[TomlLine, ...]
    remark: str = ""


def guesses_in(table: TomlTable) -> Iterator[str]:
    """Yield the dotted keys of a table that are guesses."""
    for line in table.lines:
        if line.guessed:
            yield f"{table.path}.{line.key}"
        yield from (f"{table.path}.{line.key}.{inner}" for inner in line.guessed_inside)


def toml_rows(table: TomlTable) -> Iterator[str]:
    """Yield the rows of a table as they stand in the file."""
    if table.remark:
        yield f"# {table.remark}"
    yield table.header
    for line in table.lines:
        if line.beside and isinstance(line.value, Sequence):
            yield f"{line.key} = ["
            for value, words in zip(line.value, line.beside, strict=True):
                yield f"    {value_text(value)},{f'  # {words}' if words else ''}"
            yield "]"
            continue
        row = f"{line.key} = {value_text(line.value)}"
        words = ("guessed" + (f": {line.remark}" if line.remark else "")) if line.guessed else line.remark
        yield f"{row:<{_COMMENT_AT}}  # {words}" if words else row


def value_text(value: object) -> str:
    """Write a value as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        text = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{text}"'
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return _digits(value)
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key(k)} = {value_text(v)}" for k, v in value.items())
        return f"{{ {inside} }}"
    if isinstance(value, Sequence):
        return f"[{', '.join(map(value_text, value))}]"
    message = f"a {type(value).__name__} has no place in a set-up"
    raise TypeError(message)


def _key(key: object) -> str:
    text = str(key)
    return text if text.replace("_", "").replace("-", "").isalnum() else f'"{text}"'


def _digits(number: float) -> str:
    """Write a number in as few digits as hold it to a picometre."""
    return repr(round(float(number), 9) + 0.0)
