"""What mkdocs runs while it builds: adds the generated pages, and sets equations as MathML.

MathML is drawn by the browser itself, so no script has to be fetched.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pages
from latex2mathml.converter import convert
from mkdocs.structure.files import File

DOCS = Path(__file__).resolve().parents[1]
VALIDATION = "validation.md"
"""The page that the test run writes; it takes its place in the navigation when it is there."""
_EQUATION = re.compile(r'<(span|div) class="arithmatex">\\[(\[](.*?)\\[)\]]</\1>', re.DOTALL)


def on_config(config: Any) -> Any:
    """Add the page of validation to the navigation, where it was written."""
    if (DOCS / VALIDATION).exists():
        config.nav.append({"Validation": VALIDATION})
    return config


def on_files(files: Any, config: Any) -> Any:
    """Add the pages that are made of the code."""
    for name, make in pages.PAGES.items():
        files.append(File.generated(config, name, content=make()))
    for picture in pages.PICTURES:
        made = File.generated(config, f"pictures/{picture.name}", abs_src_path=str(picture))
        files.append(made)
    return files


def on_page_content(content: str, **_: Any) -> str:
    """Turn the equations of a page into MathML."""
    return _EQUATION.sub(_math, content)


def _math(found: re.Match[str]) -> str:
    display = "block" if found.group(1) == "div" else "inline"
    made: Callable[..., str] = convert
    return made(html.unescape(found.group(2)).strip(), display=display)
