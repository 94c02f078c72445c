"""The arithmetic of the page's script, run in the browser, against scipy, numpy and closed forms."""

from __future__ import annotations

import math
from collections.abc import Iterator
from importlib.resources import files
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page
from scipy.spatial.transform import Rotation

from fixturecheck.report.viewer.things import SCRIPTS, STEP_MM, Store
from tests.report.viewer.browser import browsing

MOST_LINES = 1000
SEED = 12


def scripts() -> dict[str, str]:
    folder = files("fixturecheck.report.viewer")
    return {name: folder.joinpath(name).read_text(encoding="utf-8") for name in SCRIPTS}


@pytest.fixture(scope="module")
def run() -> Iterator[Any]:
    """Yield a function that evaluates an expression with the script's own functions."""
    with browsing() as browser:
        page: Page = browser.new_page()
        for name, text in scripts().items():
            if name != "main.js":
                page.add_script_tag(content=text)
        yield page.evaluate


def test_the_whole_script_is_short_enough_to_read() -> None:
    lines = [line.strip() for text in scripts().values() for line in text.splitlines()]
    code = [line for line in lines if line and not line.startswith(("//", "/*", "*"))]
    assert len(code) <= MOST_LINES
    assert max(len(line) for text in scripts().values() for line in text.splitlines()) <= 120


def test_a_pose_turns_about_its_point_and_then_shifts(run: Any) -> None:
    rng = np.random.default_rng(SEED)
    for _ in range(5):
        at, about, shift, vector, point = rng.normal(size=(5, 3)).tolist()
        found = run(f"carried(poseMatrix({at}, {about}, {shift}, {vector}), {point})")
        turn = Rotation.from_rotvec(vector)
        expected = np.array(about) + np.array(shift) + turn.apply(np.array(at) + point - np.array(about))
        assert found == pytest.approx(expected.tolist(), abs=1e-5)
        back = run(f"carriedBack(poseMatrix({at}, {about}, {shift}, {vector}), {found})")
        assert back == pytest.approx(point, abs=1e-5)


def test_a_vector_spun_about_an_axis(run: Any) -> None:
    axis = np.array([1.0, 2.0, -2.0]) / 3.0
    found = run(f"spun([0.3, -1, 2], {axis.tolist()}, 0.7)")
    assert found == pytest.approx(Rotation.from_rotvec(0.7 * axis).apply([0.3, -1.0, 2.0]).tolist())


def test_between_two_keys_a_motion_is_even(run: Any) -> None:
    keys = "[[0.2, [0, 0, 4], [0, 0, 0]], [0.6, [0, 0, 0], [0.4, 0, 0]]]"
    poses = [run(f"poseAt({{ keys: {keys} }}, {t})") for t in (0.0, 0.3, 0.6, 1.0)]
    assert [p["shift"][2] for p in poses] == pytest.approx([4.0, 3.0, 0.0, 0.0])
    assert [p["turn"][0] for p in poses] == pytest.approx([0.0, 0.1, 0.4, 0.4])


def test_arrays_come_out_of_the_page_as_they_went_in(run: Any) -> None:
    store, rng = Store(), np.random.default_rng(SEED)
    points, many = rng.uniform(-300, 300, size=(50, 3)), np.arange(70000)
    kept = {"points": store.lengths(points), "many": store.numbers(many), "name": "</script> \u00b5 & \u2028"}
    again = {**kept, "again": store.lengths(points.copy())}
    found = run(
        f"""unpacked("{store.packed(again)}").then((d) => ({{
          points: [...d.array(d.points)], many: d.array(d.many)[69999], name: d.name, again: d.again }}))"""
    )
    assert np.array(found["points"]).reshape(-1, 3) == pytest.approx(points, abs=STEP_MM)
    assert found["many"] == 69999
    assert found["name"] == again["name"]
    assert found["again"] == kept["points"]  # equal arrays are kept once


def test_a_turned_profile_is_the_ring_of_pappus(run: Any) -> None:
    """A rectangle 3 x 2 with its middle 10 from the axis: 2 pi 10 x 6 by Pappus' second theorem."""
    outline = "new Float32Array([0, 9, 0, 11, 3, 11, 3, 9, 0, 9])"
    volume = run(
        f"""(() => {{ const {{ points: p, triangles: t }} = wheelForm({outline}, 360); let six = 0;
        const at = (i) => [p[3 * i], p[3 * i + 1], p[3 * i + 2]];
        for (let i = 0; i < t.length; i += 3) six += dot(at(t[i]), cross(at(t[i + 1]), at(t[i + 2])));
        return Math.abs(six) / 6; }})()"""
    )
    assert volume == pytest.approx(2 * math.pi * 10 * 6, rel=1e-3)


def test_a_sight_line_meets_a_square_where_it_should(run: Any) -> None:
    still = "poseMatrix([0, 0, 5], [0, 0, 0], [0, 0, 0], [0, 0, 0])"
    assert run(f"metBy(squareForm(), {still}, [0.25, 0.5, 9], [0, 0, -1])") == pytest.approx([4.0])
    assert run(f"metBy(squareForm(), {still}, [1.25, 0.5, 9], [0, 0, -1])") == []


def camera(eye: str = "[0.52, -0.74, 0.43]") -> str:
    stop = f"{{ camera: {{ target: [1, 2, 3], eye: {eye}, up: [0, 0, 1], height_mm: 50 }} }}"
    return f"Object.assign(Camera.of({stop}), {{ aspect: 1.5 }})"


def test_shaders_and_labels_see_a_place_alike(run: Any) -> None:
    """Where the matrix sends a place stands its label, and the sight line there meets it."""
    place = [7.0, -4.0, 9.0]
    seen = run(f"{camera()}.seen({place}, 600, 400)")
    sent = run(f"(() => {{ const m = {camera()}.view(500).matrix; return carried(m, {place}); }})()")
    assert [300 * (1 + sent[0]), 200 * (1 - sent[1])] == pytest.approx(seen, abs=1e-3)
    ray = run(f"{camera()}.ray({seen[0]}, {seen[1]}, 600, 400, 500)")
    apart = np.cross(np.array(place) - ray["start"], ray["way"])
    assert np.linalg.norm(apart) == pytest.approx(0.0, abs=1e-6)


def test_zooming_keeps_what_is_under_the_pointer(run: Any) -> None:
    script = f"""(() => {{ const c = {camera()}, place = c.ray(450, 100, 600, 400, 0).start;
      c.zoom(2.5, 450, 100, 600, 400); return c.seen(place, 600, 400); }})()"""
    assert run(script) == pytest.approx([450.0, 100.0], abs=1e-6)


def test_the_camera_never_goes_over_the_top(run: Any) -> None:
    orbits = "for (let i = 0; i < 40; i++) c.orbit(0.1, 0.2);"
    up, eye = run(f"(() => {{ const c = {camera()}; {orbits} return [c.up, c.eye]; }})()")
    assert up[2] >= 0.0
    assert np.dot(up, eye) == pytest.approx(0.0, abs=1e-9)


def test_a_flight_to_the_opposite_side_stays_a_camera(run: Any) -> None:
    script = f"""(() => {{ const c = new Camera(); c.set({camera("[0, -1, 0]")}, {camera("[0, 1, 0]")}, 0.5);
      return [c.eye, c.up]; }})()"""
    eye, up = run(script)
    assert np.linalg.norm(eye) == pytest.approx(1.0)
    assert np.dot(eye, up) == pytest.approx(0.0, abs=1e-9)
