"""An inch twin of a model gets the same verdicts, and says in inches what the metric one says in mm."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from fixturecheck.engine import check
from fixturecheck.report.html import page
from fixturecheck.report.pictures.draw import write_job
from fixturecheck.report.terminal import table
from fixturecheck.report.write import meshes_of
from fixturecheck.result import Result
from fixturecheck.runs import relieve
from fixturecheck.setup.load import load
from fixturecheck.setup.model import Cut, Seat, Setup
from fixturecheck.setup.staging import Push, Staging
from tests.acceptance.inches import METRIC_WORD, differences, sentences
from tests.nesting.conftest import Shapes
from tests.report import staged, staged_hold

pytestmark = pytest.mark.slow

MODELS = Path(__file__).resolve().parents[2] / "models"

TWINS = (
    "index_pawl/rev_a_staged",
    "gib/thick_block",
    "link/in_vise_clamped",
)

_LBF_N = 4.4482216152605
INCH_KEYS = {
    "_mm": ("_in", 25.4),
    "_um": ("_uin", 0.0254),
    "_mm_tooth": ("_in_tooth", 25.4),
    "_m_min": ("_ft_min", 0.3048),
    "_m_s": ("_ft_min", 0.00508),
    "_n": ("_lbf", _LBF_N),
    "_nm": ("_lbf_in", _LBF_N * 0.0254),
    "_n_cm2": ("_psi", _LBF_N / 2.54**2),
}
"""End of a metric key, end of its inch key, and its unit in the metric one: NIST SP 811, appendix B.8."""

_PLACES = re.compile(r"\b(at|near) = (\[[^\]]*\])")
_STATED = re.compile(
    r"\b(\w+?)(_mm|_um|_mm_tooth|_m_min|_m_s|_n|_nm|_n_cm2) = (\[[^\]]*\]|\{[^}]*\}|[-+.\d]+)"
)
_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?")


def in_inches(text: str) -> str:
    """Return a set-up file with every size, speed and place in it stated in inches, exactly."""

    def divided(numbers: str, size: float) -> str:
        return _NUMBER.sub(lambda n: repr(float(n.group()) / size), numbers)

    def stated(found: re.Match[str]) -> str:
        inch, size = INCH_KEYS[found.group(2)]
        return f"{found.group(1)}{inch} = {divided(found.group(3), size)}"

    text = _PLACES.sub(lambda p: f"{p.group(1)} = {divided(p.group(2), 25.4)}", text)
    return _STATED.sub(stated, text).replace("[setup]", '[setup]\nunits = "inch"')


@pytest.fixture(scope="module", params=TWINS)
def twins(request, tmp_path_factory):
    """A model and its twin in inches, each with its result, and with its page and table as plain text."""
    twin = _twin_of(request.param, tmp_path_factory.mktemp("inches"))
    found = []
    for setup in (load(MODELS / f"{request.param}.toml"), load(twin)):
        result = check(setup)
        found.append((setup, result, [*_text(page(result, setup, pictures={})), *table(result).splitlines()]))
    return found


def _twin_of(model: str, folder: Path) -> Path:
    """Write a model's twin in inches, with the parts that it reads."""
    path = MODELS / f"{model}.toml"
    for part in path.parent.glob("*.step"):
        (folder / part.name).write_bytes(part.read_bytes())
    (folder / path.name).write_text(in_inches(path.read_text()))
    return folder / path.name


def _text(html: str) -> list[str]:
    """Return what a page says, piece by piece, without the list of the files that it was read from."""
    told: list[str] = []

    class Reader(HTMLParser):
        skipped = False

        def handle_starttag(self, tag, attrs):
            self.skipped = tag == "style"
            told.extend(v for k, v in attrs if k in {"alt", "aria-label"} and v)

        def handle_data(self, data):
            if data.strip() and not self.skipped:
                told.append(data.strip())

    Reader().feed(html.partition("<h2>Read from</h2>")[0])
    return told


def test_what_is_stated_in_inches_is_the_same_set_up(twins):
    (metric, *_), (inch, *_) = twins
    assert (metric.units, inch.units) == ("mm", "inch")
    for name in ("name", "seats", "cuts", "machine", "wheel", "tolerances", "staging", "holding"):
        assert getattr(inch, name) == getattr(metric, name)
    for a, b in zip(metric.bodies, inch.bodies, strict=True):
        assert (b.name, b.tolerance_mm) == (a.name, a.tolerance_mm)
        for place, other in zip(b.at.toTuple(), a.at.toTuple(), strict=True):
            assert place == pytest.approx(other, abs=1e-12)


def test_verdicts_and_numbers_are_the_same(twins):
    (_, metric, _), (_, inch, _) = twins
    for a, b in zip(metric.findings, inch.findings, strict=True):
        assert (b.check, b.subject, b.verdict, b.unit) == (a.check, a.subject, a.verdict, a.unit)
        assert b.value == pytest.approx(a.value, rel=1e-6, abs=1e-6)


def test_every_sentence_says_in_inches_what_the_metric_one_says(twins):
    (_, metric, _), (_, inch, _) = twins
    pairs = list(zip(sentences(metric), sentences(inch), strict=True))
    assert [b for _, (_, b) in pairs if METRIC_WORD.search(b)] == []
    assert [d for (_, a), (_, b) in pairs for d in differences(a, b)] == []
    # The metric one has metric units in its sentences, or nothing would have been compared.
    assert sum(bool(METRIC_WORD.search(a)) for (_, a), _ in pairs) > 5


def test_page_and_table_have_no_metric_unit(twins):
    (_, _, metric), (_, _, inch) = twins
    assert [t for t in inch if METRIC_WORD.search(t)] == []
    assert sum(bool(METRIC_WORD.search(t)) for t in metric) > 20


@pytest.mark.parametrize(
    ("metric", "inch", "same"),
    [
        ("lands 0.400 mm before it", "lands 0.0157 in before it", True),
        ("lands 0.400 mm before it", "lands 0.0167 in before it", False),
        ("lands 0.400 mm before it", "lands 0.400 mm before it", False),
        ("lands 0.400 mm before it", "lands 0.0157 lbf before it", False),
        ("lands 0.400 mm before it", "sits 0.0157 in before it", False),
        ("open by 25 to 50 um", "open by 0.00098 to 0.00197 in", True),
        ("open by 25 to 50 um", "open by 25 to 0.00197 in", False),
        ("a line at X 24.7, Z 0.0 mm", "a line at X 0.972, Z 0.000 in", True),
        ("its top at Z 9.00", "its top at Z 9.00", False),
        ("moves 0.71 um for each um at a", "moves 0.71 thousandths for each thousandth at a", True),
        ("12.0 N under the edge of face_3", "2.70 lbf under the edge of face_3", True),
    ],
)
def test_the_reader_of_two_sentences_tells_them_apart(metric: str, inch: str, same: bool) -> None:
    assert (differences(metric, inch) == []) is same


@pytest.mark.parametrize(
    ("text", "metric"),
    [
        *[(t, True) for t in ("2 mm", "12 N", "5\u202fN/cm²", "3 um", "8 N m", "by hundredths", "pole N")],
        *[(t, False) for t in ("0.1 in", "gap_mm", "steel.mm", "Nest", "12 lbf in", "2.5 in2")],
    ],
)
def test_a_metric_unit_is_seen(text: str, metric: bool) -> None:
    assert bool(METRIC_WORD.search(text)) is metric


def _labels(home: Path, result: Result) -> list[str]:
    """Return every text that is written onto the pictures of a result, but file names and poles."""
    job = json.loads(write_job(home, home / "drawn", result, meshes_of(result)).read_text())

    def texts(value: object, key: str = "") -> Iterator[str]:
        if isinstance(value, str) and key not in {"file", "mesh", "role", "units"}:
            yield value
        elif isinstance(value, list):
            for item in value:
                yield from texts(item, key)
        elif isinstance(value, dict):
            for name, item in value.items():
                yield from texts(item, name)

    return [t for scene in job["scenes"] for t in texts({k: v for k, v in scene.items() if k != "letters"})]


@pytest.mark.parametrize("made", [staged.result, staged_hold.result], ids=["findings", "hold"])
def test_labels_of_pictures_have_no_metric_unit(made: Callable[[str], Result], tmp_path: Path) -> None:
    for units in ("mm", "inch"):
        (tmp_path / units).mkdir()
    metric, inch = (_labels(tmp_path / units, made(units)) for units in ("mm", "inch"))
    assert len(metric) == len(inch)
    assert any(METRIC_WORD.search(t) for t in metric)
    assert [t for t in inch if METRIC_WORD.search(t)] == []


def test_labels_of_a_twin_have_no_metric_unit(twins, tmp_path: Path) -> None:
    _, (_, inch, _) = twins
    labels = _labels(tmp_path, inch)
    assert len(labels) > 10
    assert [t for t in labels if METRIC_WORD.search(t)] == []


def test_a_relief_is_told_in_inches_and_made_in_mm(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    folder.mkdir()
    done, text = relieve.run(
        str(_twin_of("index_pawl/rev_a_staged", tmp_path)),
        {},
        str(folder),
        progress=lambda _doing, _share: None,
    )
    assert done
    # A chamfer of r - h = 0.8 mm is 0.0315 in; the drawing that comes with it, and its code, stay in mm.
    assert text.splitlines()[2].startswith("0.0315 in x 45° chamfer on ")
    assert "code, mm" in text
    assert ".chamfer(0.80)" in text
    told = [line for line in text.splitlines() if "code, mm" not in line]
    page = [t for t in _text((folder / "reliefs.html").read_text()) if not t.startswith("code, in mm")]
    assert [t for t in [*told, *page] if METRIC_WORD.search(t)] == []
    (relief,) = json.loads((folder / "reliefs.json").read_text())["reliefs"]
    assert relief["size_mm"] == [0.8, 0.8]


def test_tolerances_and_their_spread_are_told_in_inches() -> None:
    setup = toleranced()
    metric, inch = check(setup), check(replace(setup, units="inch"))
    assert any(f.check == "tolerance" and f.unit == "um" for f in inch.findings)
    pairs = list(zip(sentences(metric), sentences(inch), strict=True))
    assert [d for (_, a), (_, b) in pairs for d in differences(a, b)] == []
    told = [*(b for _, (_, b) in pairs), *_text(page(inch, replace(setup, units="inch"), pictures={}))]
    assert any(t.startswith("in out along its normal") for t in told)
    assert [t for t in told if METRIC_WORD.search(t)] == []


def toleranced() -> Setup:
    """A block on a table against a stop, whose base is out by up to 15 um and whose floor may be by 2."""
    table = Shapes.body("table", Shapes.box(200, 200, 20, (0, 0, -20)), top=">Z", tolerance_mm={"top": 0.01})
    stop = Shapes.body("stop", Shapes.box(10, 100, 20, (-5, 0, 0)), face=">X")
    faces = {"base": "<Z", "back": "<X", "floor": ">Z"}
    zones = {"base": 0.03, "floor": 0.004}
    part = Shapes.body("part", Shapes.box(30, 20, 20, (15, 0, 0)), "part", tolerance_mm=zones, **faces)
    seats = (
        Seat(body="part", face="base", on="table", on_face="top"),
        Seat(body="part", face="back", on="stop", on_face="face", rank="secondary"),
    )
    return replace(
        Shapes.setup(table, stop, part, seats=seats),
        cuts=(Cut(name="top", parts=("part",), floor="floor"),),
        staging=Staging(push={"part": Push(direction=(-1, 0, 0))}, draws=500),
    )
