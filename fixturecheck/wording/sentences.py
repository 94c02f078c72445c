"""How words become a sentence."""

from __future__ import annotations

from collections.abc import Collection


def capitalised(text: str, names: Collection[str] = ()) -> str:
    """Return words with a capital first letter; a name at the start stays as it is written."""
    first, *_ = text.replace(".", " ").split(maxsplit=1) or [""]
    word = first.strip(",:;")
    return text if word in names or not word.isalpha() else text[:1].upper() + text[1:]


def sentence(text: str, names: Collection[str] = ()) -> str:
    """Return words as a sentence with a full stop; a name at the start stays as it is written."""
    text = text.strip()
    if not text:
        return ""
    start = capitalised(text, names)
    return start if start.endswith((".", "!", "?")) else f"{start}."
