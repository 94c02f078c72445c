"""report.html: one file, verdict first, everything said, nothing that runs or loads."""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace
from html import escape
from html.parser import HTMLParser

import pytest
from PIL import Image

from fixturecheck.report.html import page
from fixturecheck.report.markup import style
from fixturecheck.report.order import OVERVIEW
from fixturecheck.report.statements import QUESTIONS
from fixturecheck.result import Result
from fixturecheck.result.finding import Verdict
from fixturecheck.result.hold import KeptFixture, KeptReason, PullNote, PullNoteKind
from fixturecheck.wording.sentences import shown, shown_plain
from tests.report import staged, staged_hold

VOID = {"meta", "img", "br"}


class Reader(HTMLParser):
    """Collects text and attributes, and insists that every tag is closed."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] != "style":
            self.text.append(data)


def read(text: str) -> Reader:
    reader = Reader()
    reader.feed(text)
    reader.close()
    assert reader.open == []
    return reader


def png(colour: str) -> bytes:
    stream = io.BytesIO()
    Image.new("RGB", (4, 3), colour).save(stream, "PNG")
    return stream.getvalue()


PICTURES = {
    OVERVIEW: png("red"),
    "01_nest.png": png("green"),
    "02_clear.png": png("blue"),
    "04_reach.png": png("tan"),
}


ANSWERED = {f.check for f in staged.result().findings}
NOT_ASKED = {n.check for n in staged.result().not_asked}


@pytest.fixture(scope="module")
def text() -> str:
    return page(staged.result(), staged.setup(), pictures=PICTURES)


def test_the_verdict_comes_first_in_word_and_sign(text: str) -> None:
    said = " ".join(" ".join(read(text).text).split())
    body = said.split("gibs on a plate", 1)[1]
    assert body.startswith(" \u2715 NO-GO gibs on a plate Do not grind this set-up as it stands.")


def test_sections_come_worst_first_then_in_the_order_of_the_job(text: str) -> None:
    heads = re.findall(r"<h2>(.*?)</h2>", text)
    assert heads == [
        "No-go: what to change",
        "What could not be computed",
        "Cautions: what to watch",
        "The answers, in the order of the job",
        "What touches",
        "As ground",
        "At the machine",
        "Go, in short",
        "The set-up as stated",
        "Read from",
    ]


def test_what_was_asked_of_the_hold_comes_before_the_list_of_what_is_go() -> None:
    held = page(staged_hold.result(), staged.setup(), pictures={})
    heads = re.findall(r"<h2>(.*?)</h2>", held)
    assert heads.index("Does it hold") < heads.index("At the machine") < heads.index("Go, in short")
    order = ["Does it hold", "As ground", "How it comes apart"]
    assert [head for head in heads if head in order] == order
    assert "Where the parts come to rest" not in heads, "the answers say that it was not asked"


def test_each_question_has_its_answer_with_the_findings_behind_it(text: str) -> None:
    section = text.split("The answers, in the order of the job")[1].split("</section>", maxsplit=1)[0]
    written = re.findall(r"<li>.*?</li>", section, re.DOTALL)
    rows = [" ".join(" ".join(read(row).text).split()) for row in written]
    asked = [row.split("?", maxsplit=1)[0] for row in rows]
    assert asked == [QUESTIONS[c].capitalize() for c in QUESTIONS if c in {*ANSWERED, *NOT_ASKED}]
    told = dict(zip(asked, (row.split("?", maxsplit=1)[1].strip() for row in rows), strict=True))
    assert told["Do neighbours nest"] == "\u2715 NO-GO see 1"
    assert told["Does wheel or cutter clear everything"] == "\u2715 NO-GO see 2"
    assert told["Do the parts hold"] == "not asked: no [holding]"
    for number in re.findall(r'href="#finding-(\d+)"', section):
        assert f'id="finding-{number}"' in text


def test_what_is_go_is_told_in_one_line_and_folded_in_full(text: str) -> None:
    section = text.split("<h2>Go, in short</h2>")[1].split("</section>", maxsplit=1)[0]
    short, full = section.split("<details>")
    go = [f for f in staged.result().findings if f.verdict is Verdict.GO]
    assert short.count("<li") == len(go)
    for finding in go:
        assert escape(finding.says) in full


def test_a_name_with_markup_in_it_shows_as_text_wherever_it_stands() -> None:
    name = '<b onclick="alert(1)">gib & co</b>'
    one = staged_hold.result()
    findings = tuple(
        replace(f, subject=name, says=f"{name} is off.", remedy=f"Turn {name}.", about=(f"{name}.top",))
        for f in one.findings
    )
    cuts = tuple(replace(c, name=name) for c in one.cuts)
    parts = tuple(replace(p, part=name, cut=name, hits=name) for p in one.holding.parts)
    note = PullNote(kind=PullNoteKind.NO_FLUX, of=name)
    kept = KeptFixture(body=name, reason=KeptReason.PIECE, of=(name,))
    held = replace(one.holding, parts=parts, missing=((name, name),), notes=(note,), kept=(kept,))
    text = page(
        replace(one, name=name, findings=findings, cuts=cuts, holding=held),
        staged.setup(),
        pictures={OVERVIEW: png("red")},
        why_missing=name,
    )
    reader = read(text)
    assert "b" not in {tag for tag, _ in reader.tags}
    assert not any("onclick" in attributes for _, attributes in reader.tags)
    assert " ".join(reader.text).count(name) > 2 * len(findings) + 8


def test_nothing_is_loaded_and_nothing_runs(text: str) -> None:
    for tag, attributes in read(text).tags:
        assert tag not in {"script", "link", "iframe", "object"}
        assert not any(name.startswith("on") for name in attributes)
        for name in ("src", "href"):
            value = attributes.get(name)
            assert value is None or re.match(r"data:image/png;base64,|#finding-\d+$", value)
    assert "url(" not in text
    assert "@import" not in text


def test_pictures_are_inside_each_by_its_finding(text: str) -> None:
    sources = re.findall(r'src="data:image/png;base64,([^"]+)"', text)
    # Those of the findings first, as the findings stand first; then the whole set-up.
    overview, *others = PICTURES.values()
    assert [base64.b64decode(s) for s in sources] == [*others, overview]
    article = text.split('id="finding-1"')[1].split("</article>", maxsplit=1)[0]
    assert base64.b64encode(PICTURES["01_nest.png"]).decode() in article


def test_each_no_go_has_number_limit_and_change(text: str) -> None:
    article = text.split('id="finding-1"')[1].split("</article>", maxsplit=1)[0]
    said = " ".join(read("<article>" + article.split(">", 1)[1] + "</article>").text)
    for wanted in (
        "found",
        "300\u202f\u00b5m",
        "limit",
        "1\u202f\u00b5m",
        "stone the burr away, 0.3 mm",
        "burr",
    ):
        assert wanted in said
    other = text.split('id="finding-2"')[1].split("</article>", maxsplit=1)[0]
    assert "No change was worked out" in other


def test_unknown_gives_its_reason(text: str) -> None:
    article = text.split('id="finding-3"')[1].split("</article>", maxsplit=1)[0]
    assert "Could not be computed: the wheel carries no mark." in article
    assert "? UNKNOWN" in article


def test_names_are_escaped(text: str) -> None:
    assert "&lt;skewed&gt;" in text
    assert "<skewed>" not in text
    hostile: Result = replace(staged.result(), name='<img src=x onerror="x">')
    assert "<img src=x" not in page(hostile, staged.setup(), pictures={})


def test_the_page_says_the_cautions_at_the_machine(text: str) -> None:
    said = " ".join(" ".join(read(text).text).lower().split())
    for wanted in (
        "ring it", "speed marked on it", "guards on", "eye protection", "then tug every part",
        "never trust a magnet alone", "stand aside",
        "local rules", "trained",
    ):  # fmt: skip
        assert wanted in said


def test_inches_where_the_set_up_asks_for_them() -> None:
    text = page(staged.result("inch"), staged.setup("inch"), pictures={})
    said = " ".join(read(text).text)
    # 300 um are 0.011811 in; 960 mm2 are 1.488 sq in.
    assert "0.01181\u202fin" in said
    assert "1.488\u202fin\u00b2" in said
    assert not re.search(r"\d\u202f(mm|\u00b5m)", said)


def test_missing_pictures_are_said() -> None:
    text = page(
        staged.result(), staged.setup(), pictures={}, why_missing="the drawing process ended early (SIGSEGV)"
    )
    assert "Pictures: the drawing process ended early (SIGSEGV)." in text
    assert "<img" not in text


def test_long_tables_are_cut_and_say_so() -> None:
    one = staged.result()
    many = replace(one, contacts=one.contacts * 400)
    assert "500 more rows are in result.json" in page(many, staged.setup(), pictures={})


@pytest.mark.parametrize("verdict", list(Verdict))
def test_every_verdict_has_its_banner(verdict: Verdict) -> None:
    text = page(replace(staged.result(), verdict=verdict), staged.setup(), pictures={})
    assert f'class="banner is-{verdict}"' in text


@pytest.mark.parametrize(
    ("value", "unit", "units", "text"),
    [
        (25.4, "mm", "inch", "1\u202fin"),
        (0.0254, "mm", "inch", "0.001\u202fin"),
        (33.02, "m/s", "inch", "6500\u202fsfpm"),
        (0.25, "share", "mm", "25\u202f%"),
        (1.5, "deg", "mm", "1.5\u00b0"),
        (-0.0, "mm", "mm", "0\u202fmm"),
        (0.00012345, "mm", "mm", "0.0001234\u202fmm"),
        (1234.5678, "mm3", "mm", "1235\u202fmm\u00b3"),
        (None, "mm", "mm", "\u2013"),
        (3.0, "", "mm", "3"),
        (25.8853, "x load", "mm", "25.9\u202fx load"),
        (4.1312, "x load", "mm", "4.13\u202fx load"),
        (0.00015, "x load", "mm", "0\u202fx load"),
        (102.0, "x load", "mm", "102\u202fx load"),
    ],
)
def test_numbers_as_people_read_them(value: float | None, unit: str, units: str, text: str) -> None:
    assert shown(value, unit, units) == text


def test_numbers_in_pictures_use_plain_letters() -> None:
    assert shown_plain(300.0, "um", "mm") == "0.3 mm"
    assert shown_plain(32.0, "mm3", "mm") == "32 cu mm"
    assert shown_plain(254.0, "um", "inch") == "0.01 in"


def luminance(colour: tuple[float, ...]) -> float:
    """Relative luminance of sRGB, 0 to 255: WCAG 2.1, definition of relative luminance."""
    linear = [c / 3294.6 if c <= 10.02 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in colour]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def rgb(name: str, scheme: str) -> tuple[float, ...]:
    """A colour of the page on a light or a dark screen; those of the verdicts are the same on both."""
    light, *dark = re.findall(rf"--{name}: #([0-9a-f]+)", style())
    found = dark[0] if dark and scheme == "dark" else light
    digits = found if len(found) == 6 else "".join(2 * c for c in found)
    return tuple(float(int(digits[k : k + 2], 16)) for k in (0, 2, 4))


def contrast(over: tuple[float, ...], under: tuple[float, ...]) -> float:
    """WCAG 2.1, definition of contrast ratio."""
    light, dark = sorted((luminance(over), luminance(under)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("verdict", Verdict)
def test_the_small_words_of_the_banner_stand_out(verdict: Verdict) -> None:
    """WCAG 2.1, 1.4.3: a contrast of 4.5 at least; they are white and nine tenths opaque."""
    under = rgb(str(verdict), "light")
    assert contrast(tuple(0.9 * 255.0 + 0.1 * b for b in under), under) >= 4.5


GROUNDS = ("paper", "wash", "head", "good", "care", "mark")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_and_edges_stand_out_on_a_light_and_on_a_dark_screen(scheme: str) -> None:
    """WCAG 2.1: a contrast of 4.5 at least for words (1.4.3), 3 for the edges that tell verdicts (1.4.11)."""
    words = {
        (i, u): contrast(rgb(i, scheme), rgb(u, scheme)) for i in ("ink", "soft", "link") for u in GROUNDS
    }
    assert {pair: ratio for pair, ratio in words.items() if ratio < 4.5} == {}
    names = (f"{v}-edge" if scheme == "dark" else str(v) for v in Verdict)
    edges = {n: contrast(rgb(n, scheme), rgb("paper", scheme)) for n in names}
    assert {name: ratio for name, ratio in edges.items() if ratio < 3.0} == {}
