"""The 3-D view in a browser: opened from the disk, turned, toured, played, read by everybody."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from fixturecheck.report.write import write_report
from fixturecheck.result import Result
from fixturecheck.result.contact import WheelPath
from tests.report import staged, staged_hold
from tests.report.viewer.browser import browsing, opened, pixel, shown

MARKUP = "<b onclick=alert(1)>gibs</b>"
HIT = [28.0, 17.6, 9.4]  # in the piece of the rail that the guard hits, beside the arrow at its middle


def result() -> Result:
    """The staged hold, with a wheel that travels, and markup in its name."""
    found = staged_hold.result()
    path = WheelPath(floor_z_mm=10.0, x_from_mm=-60.0, x_to_mm=60.0, y_from_mm=0.0, y_to_mm=0.0, wall_sign=0)
    shapes = tuple(replace(s, name="wheel top_flat") if s.name == "wheel" else s for s in found.shapes)
    named = {c.centroid[1]: s.name for c in found.contacts for s in shapes if s.name == "touch_gib_1_plate"}
    return replace(
        found,
        name=MARKUP,
        setup=replace(staged.setup(), name=MARKUP),
        shapes=shapes,
        cuts=tuple(replace(c, path=path) for c in found.cuts),
        contacts=tuple(
            replace(c, patch=named[c.centroid[1]], gap_mean_um=40.0) if c.centroid[1] == 10.0 else c
            for c in found.contacts
        ),
    )


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("page") / "out"
    write_report(result(), folder, pictures=False)
    return folder / "report.html"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with browsing() as one:
        yield one


@pytest.fixture
def page(browser: Browser, path: Path) -> Iterator[Page]:
    with opened(browser, path) as one:
        yield shown(one)


def stop(page: Page) -> str:
    return page.evaluate("setUpView.stop.id")


def eye(page: Page) -> list[float]:
    return page.evaluate("setUpView.camera.eye")


def is_red(rgb: tuple[int, int, int]) -> bool:
    return rgb[0] > 120 and rgb[0] > 2 * rgb[1] and rgb[0] > 1.6 * rgb[2]


def test_the_first_view_is_the_worst_finding_with_its_number_and_limit(page: Page) -> None:
    assert stop(page) == "1"
    label = page.locator(".view-mark.label").inner_text()
    assert "NO-GO" in label
    assert "0.3\u202fmm" in label or "300\u202f\u00b5m" in label
    assert "limit" in label


def test_a_finding_that_is_pressed_moves_the_camera_and_lights_its_place(page: Page) -> None:
    before = page.evaluate("setUpView.camera.target")
    row = page.locator("article[data-stop]").filter(has_text="The guard hits the rail")
    row.locator(".to-view").first.click()
    shown(page)
    assert stop(page) == row.get_attribute("data-stop")
    after = page.evaluate("setUpView.camera.target")
    assert max(abs(a - b) for a, b in zip(before, after, strict=True)) > 5.0
    assert (
        page.evaluate("setUpView.camera.target.map((v, i) => Math.abs(v - [25, 19, 9.6][i]) < 1e-3)")
        == [True] * 3
    )
    assert is_red(pixel(page, HIT))
    page.evaluate("setUpView.show('trouble', false)")
    shown(page)
    assert not is_red(pixel(page, HIT))


def test_every_finding_is_a_stop_of_the_tour(page: Page) -> None:
    tour = page.evaluate("setUpView.data.stops.filter(s => s.tour && s.verdict).map(s => s.id)")
    assert tour == [str(i + 1) for i in range(len(result().findings))]
    page.locator("#view-canvas").focus()
    seen = [stop(page)]
    for _ in tour[1:]:
        page.keyboard.press("n")
        seen.append(stop(page))
    assert seen == tour
    for one in tour:
        assert page.locator(f'[data-stop="{one}"] .to-view').count() == 1


def test_keys_turn_move_and_zoom(page: Page) -> None:
    page.locator("#view-canvas").focus()
    first = eye(page)
    page.keyboard.press("ArrowLeft")
    assert eye(page) != first
    target = page.evaluate("setUpView.camera.target")
    page.keyboard.press("Shift+ArrowUp")
    assert page.evaluate("setUpView.camera.target") != target
    height = page.evaluate("setUpView.camera.height")
    page.keyboard.press("+")
    assert page.evaluate("setUpView.camera.height") == pytest.approx(height / 1.2)
    page.keyboard.press("w")
    assert stop(page) == "whole"


def test_the_mouse_turns_and_the_wheel_zooms(page: Page) -> None:
    box = page.locator("#view-canvas").bounding_box()
    assert box
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    first, height = eye(page), page.evaluate("setUpView.camera.height")
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 60, y + 20)
    page.mouse.up()
    assert eye(page) != first
    page.mouse.wheel(0, -200)
    page.wait_for_function(f"setUpView.camera.height < {height}")


def test_a_motion_is_played_and_says_what_is_true(page: Page) -> None:
    page.get_by_role("button", name="wheel: top_flat").click()
    page.wait_for_function("setUpView.time > 0.05")
    says = page.locator("#view-says").inner_text()
    assert "120\u202fmm along the table" in says
    page.evaluate("setUpView.halt(0.5)")
    thing = "setUpView.data.things.findIndex(t => t.layer === 'wheel')"
    place = page.evaluate(f"setUpView.matrixOf({thing})[12]")
    page.evaluate("setUpView.halt(0)")
    # There and back: the wheel stands at the ends of its traverse, 120 mm apart.
    assert place - page.evaluate(f"setUpView.matrixOf({thing})[12]") == pytest.approx(120.0)


def test_a_part_that_lets_go_moves_and_its_move_is_said_to_be_larger(page: Page) -> None:
    page.get_by_role("button", name="gib_2 lets go").click()
    page.wait_for_function("setUpView.time > 0.2")
    assert "drawn larger" in page.locator("#view-says").inner_text()
    page.evaluate("setUpView.halt(1)")
    thing = "setUpView.data.things.findIndex(t => t.name === 'gib_2')"
    assert page.evaluate(f"setUpView.matrixOf({thing})[13]") < -14.3 - 1.0  # along -Y, as the hold says


def test_a_section_is_capped_and_moves_with_the_slider(page: Page) -> None:
    page.evaluate("setUpView.go('whole', true)")
    page.locator("#view-plane").select_option("0")
    page.evaluate("setUpView.lookFrom([1, 0, 0])")
    shown(page)
    assert page.evaluate("setUpView.plane.normal") == [1, 0, 0]
    across = [[0.0, y, -10.0] for y in range(-40, 20)]  # through the middle of the plate
    assert len({pixel(page, place) for place in across}) > 1  # hatched; its end itself is of one colour
    page.locator("#view-depth").fill("1")
    shown(page)
    assert len({pixel(page, place) for place in across}) == 1


def test_gaps_are_coloured_on_a_scale(page: Page) -> None:
    page.evaluate("setUpView.show(':gaps', true)")
    shown(page)
    assert page.locator("#view-scale").is_visible()
    assert "mean gap" in page.locator("#view-scale").inner_text()
    assert "40" in page.locator("#view-scale .ends").inner_text()


def test_pull_and_flux_are_stops_with_their_scales(page: Page) -> None:
    for name, words in (("hold_pull.png", "pull per area"), ("hold_flux.png", "flux density")):
        page.evaluate(f"setUpView.go('{name}', true)")
        shown(page)
        assert words in page.locator("#view-scale").inner_text()


def test_fingers_turn_and_pinch(browser: Browser, path: Path) -> None:
    with opened(
        browser, path, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
    ) as page:
        shown(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        page.locator("#view-canvas").scroll_into_view_if_needed()
        first, height = eye(page), page.evaluate("setUpView.camera.height")
        page.evaluate("""() => {
          const canvas = setUpView.canvas, box = canvas.getBoundingClientRect();
          canvas.setPointerCapture = () => {};
          const touch = (type, pointerId, x, y) => canvas.dispatchEvent(new PointerEvent(type, {
            pointerId, pointerType: "touch", clientX: box.left + x, clientY: box.top + y, bubbles: true }));
          globalThis.touch = touch;
          touch("pointerdown", 1, 100, 100); touch("pointermove", 1, 140, 100);
        }""")
        assert eye(page) != first
        turned = eye(page)
        page.evaluate("""touch("pointerdown", 2, 200, 100), touch("pointermove", 2, 260, 100)""")
        assert page.evaluate("setUpView.camera.height") == pytest.approx(height / 2)
        assert eye(page) == pytest.approx(turned)


def test_on_a_phone_the_verdict_and_what_to_change_stand_before_the_picture(
    browser: Browser, path: Path
) -> None:
    with opened(browser, path, viewport={"width": 390, "height": 844}) as page:
        shown(page)
        articles = page.locator("article[data-stop]")
        tops = [
            one.evaluate("(e) => e.getBoundingClientRect().top")
            for one in (page.locator(".word").first, articles.first, articles.last, page.locator("#view"))
        ]
        assert tops == sorted(tops)
        page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
        wide = "[...document.querySelectorAll('.wide')].filter((w) => w.querySelector('.headed'))"
        assert page.evaluate(f"{wide}.length") > 0
        assert page.evaluate(f"{wide}.filter((w) => w.scrollWidth > w.clientWidth + 1).length") == 0
        page.locator(".to-picture a").click()
        assert abs(page.locator("#view").evaluate("(e) => e.getBoundingClientRect().top")) < 20


def test_beside_the_text_the_picture_starts_level_with_it(page: Page) -> None:
    view, told = (
        page.locator(which).evaluate("(e) => e.getBoundingClientRect().toJSON()")
        for which in ("#view", ".told")
    )
    assert view["right"] <= told["left"]
    assert abs(view["top"] - told["top"]) < 40


def test_what_touches_is_looked_at_by_a_button_of_its_row(page: Page) -> None:
    """The patch is lit in the part's middle, and is seen through the part that hides it."""
    row = page.locator("tr[data-stop^='touch ']").first
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    row.get_by_role("button").click()
    page.wait_for_function("!setUpView.flight")
    assert stop(page) == row.get_attribute("data-stop")
    told = page.locator("#view-says").inner_text()
    assert " on " in told
    assert "mean gap" in told
    names = page.evaluate(
        "Object.entries(setUpView.stop.looks).filter(([, look]) => look[1]).map(([i]) => "
        "setUpView.data.things[i].role)"
    )
    assert set(names) <= {"area", "line", "point", "near"}
    page.locator("#view-on").click()
    assert page.evaluate("setUpView.stop.tour")


def test_nothing_serious_stands_in_anybodys_way(page: Page) -> None:
    """WCAG 2.1 A and AA by axe-core, on a light screen and on a dark one."""
    options = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    for where, scheme in (("1", "dark"), ("whole", "light")):
        page.emulate_media(color_scheme=scheme)
        page.evaluate(f"setUpView.go('{where}', true)")
        found = Axe().run(shown(page), options=options).response["violations"]
        bad = [
            (v["id"], [n["html"][:120] for n in v["nodes"]])
            for v in found
            if v["impact"] in {"serious", "critical"}
        ]
        assert bad == []


def test_markup_in_a_name_is_text(page: Page) -> None:
    page.get_by_role("button", name="Whole").click()
    assert MARKUP in page.locator("h1").inner_text()
    assert page.locator("b").count() == 0


def test_on_paper_stand_pictures_and_no_canvas(page: Page) -> None:
    page.emulate_media(media="print")
    assert not page.locator("#view").is_visible()
    assert page.locator(".to-view").first.is_hidden()


def test_who_dislikes_motion_sees_no_flight(browser: Browser, path: Path) -> None:
    with opened(browser, path, reduced_motion="reduce") as page:
        shown(page)
        page.evaluate("setUpView.go('whole')")
        assert page.evaluate("setUpView.flight") is None


def test_without_webgl_one_line_says_so(browser: Browser, path: Path) -> None:
    with opened(browser, path, before="HTMLCanvasElement.prototype.getContext = () => null") as page:
        page.wait_for_selector("#view-missing:visible")
        assert "WebGL 2" in page.locator("#view-missing").inner_text()
        assert not page.locator("#view").is_visible()
