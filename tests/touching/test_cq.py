"""The doors for scripts and notebooks: contacts, one line while drawing, the user's own viewer."""

from __future__ import annotations

import sys
from pathlib import Path
from types import SimpleNamespace

import cadquery as cq
import nbformat
import pytest
from nbclient import NotebookClient

import fixturecheck as fc
from fixturecheck.errors import SetupError
from fixturecheck.result.finding import Verdict
from fixturecheck.result.rest import PairState
from tests.report.viewer.browser import browsing, opened
from tests.touching.blocks import ball, box


def stand() -> cq.Assembly:
    whole = cq.Assembly(name="stand <i>two</i>")
    whole.add(box(40, 40, 10), name="low")
    whole.add(box(20, 20, 10), name="high", loc=cq.Location((0, 0, 10)))
    return whole.add(ball(4, (15, 15, 13.9)), name="ball")


@pytest.fixture(scope="module")
def result() -> fc.Result:
    return fc.cq.contacts(stand())


def test_contacts_of_an_assembly(result: fc.Result) -> None:
    assert result.verdict is Verdict.NO_GO
    assert [(p.a, p.b, p.state) for p in result.touching.pairs] == [
        ("ball", "low", PairState.OVERLAP),
        ("low", "high", PairState.TOUCH),
    ]


def test_one_line_in_a_script_prints_the_table(capsys: pytest.CaptureFixture[str]) -> None:
    found = fc.cq.check_here(stand())
    assert found.verdict is Verdict.NO_GO
    assert "low touches high over 400 mm² (1 area)." in capsys.readouterr().out


def test_one_line_in_a_script_checks_a_set_up_that_is_stated(capsys: pytest.CaptureFixture[str]) -> None:
    facts = {"cut": [{"name": "top", "parts": ["part"], "floor": "top"}]}
    top = cq.Assembly(name="top", metadata={"fixturecheck": facts})
    top.add(box(20, 20, 10), name="part", metadata={"fixturecheck": {"faces": {"top": ">Z"}}})
    found = fc.cq.check_here(top)
    assert found.touching is None
    assert any(f.check == "seat" for f in found.findings)
    assert capsys.readouterr().out.startswith(("✕", "▲", "✓", "?"))


def test_what_was_found_stands_beside_the_assembly_in_layers(result: fc.Result) -> None:
    found = fc.cq.annotate(stand(), result).objects["found"]
    layers = {layer.name: [one.name for one in layer.children] for layer in found.children}
    assert layers["overlap, collision, gouge, leftover"] == ["overlap ball | low"]
    assert [name.split()[0] for name in layers["contacts"]] == ["area"]


def test_the_viewer_that_is_there_is_used(result: fc.Result, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[cq.Assembly] = []
    monkeypatch.setattr("cadquery.vis.show", seen.append)
    monkeypatch.setitem(sys.modules, "ocp_vscode", None)  # not to be imported
    assert fc.cq.show(result) == "cadquery"
    monkeypatch.setitem(sys.modules, "ocp_vscode", SimpleNamespace(show=seen.append))
    assert fc.cq.show(result) == "ocp_vscode"
    bodies, found = seen[-1].children
    assert [one.name for one in bodies.children] == ["low", "high", "ball"]
    assert all(one.color.toTuple()[3] < 1 for one in bodies.children)
    assert found.name == "found"


def test_a_viewer_that_is_not_there_is_told(result: fc.Result, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "ocp_vscode", None)
    with pytest.raises(SetupError, match="ocp_vscode cannot be imported; install it with pip"):
        fc.cq.show(result, "ocp_vscode")
    with pytest.raises(
        SetupError, match="viewer 'vtk' is not known; use jupyter_cadquery, ocp_vscode, cadquery"
    ):
        fc.cq.show(result, "vtk")


CELL = """
import cadquery as cq, fixturecheck as fc
low, high = cq.Workplane().box(40, 40, 10), cq.Workplane().box(20, 20, 10).translate((0, 0, {z}))
fc.cq.contacts({{"low": low, "<b>high</b>": high}})
"""


def test_a_notebook_shows_two_results_on_one_page(tmp_path: Path) -> None:
    """The notebook is run by Jupyter's own client; its outputs are opened in a browser without a network."""
    cells = [nbformat.v4.new_code_cell(CELL.format(z=z)) for z in (10, 9.5)]
    notebook = nbformat.v4.new_notebook(cells=cells)
    NotebookClient(notebook, timeout=120, kernel_name="python3").execute()
    shown = [cell.outputs[0]["data"]["text/html"] for cell in notebook.cells]
    page = tmp_path / "notebook.html"
    page.write_text(f"<!DOCTYPE html><html lang='en'><title>n</title><body>{''.join(shown)}</body></html>")
    # Frames out of sight are not drawn, so both must be in sight.
    tall = {"width": 1300, "height": 1500}
    with browsing() as browser, opened(browser, page, viewport=tall) as tab:
        frames = [f for f in tab.frames if f is not tab.main_frame]
        assert len(frames) == 2
        for frame, word in zip(frames, ("GO", "NO-GO"), strict=True):
            frame.wait_for_selector("#view:not([hidden])")
            assert frame.locator(".banner .word").inner_text().split()[-1] == word
            assert frame.locator("td", has_text="<b>high</b>").count() >= 1
