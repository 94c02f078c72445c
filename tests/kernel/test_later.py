"""A library that is put off is itself as soon as something of it is asked for, as Python states it."""

from __future__ import annotations

import sys

import pytest

from fixturecheck.kernel.worker import put_off


@pytest.fixture
def library(tmp_path, monkeypatch):
    """A library in one file, which another imports; nothing of it is left afterwards."""
    (tmp_path / "put_off_one.py").write_text("LOADED = True\nNAMES = ['a', 'b']\n", encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setattr(sys, "meta_path", list(sys.meta_path))
    yield "put_off_one"
    sys.modules.pop("put_off_one", None)


def test_it_is_loaded_when_something_of_it_is_asked_for(library):
    put_off(library)
    module = __import__(library)
    assert module.__spec__.name == library
    assert "NAMES" not in vars(module)
    assert module.NAMES == ["a", "b"]
    assert "LOADED" in vars(module)
    with pytest.raises(AttributeError, match="nothing_like_it"):
        _ = module.nothing_like_it


def test_all_of_it_can_be_imported(library):
    put_off(library)
    names: dict[str, object] = {}
    exec(f"from {library} import *", names)  # noqa: S102 -- an import by name
    assert names["LOADED"] is True


def test_what_is_loaded_or_is_not_there_stays_as_it_is(library):
    module = __import__(library)
    put_off(library)
    put_off("no_library_is_called_this")
    assert sys.modules[library] is module
    assert "LOADED" in vars(module)
    assert "no_library_is_called_this" not in sys.modules


def test_a_script_that_opens_a_window_has_all_that_draws(library):
    put_off(library)
    assert sys.meta_path[0].find_spec("json", None) is None
    assert "LOADED" not in vars(sys.modules[library])
    assert sys.meta_path[0].find_spec("cadquery.vis", None) is None
    assert "LOADED" in vars(sys.modules[library])
