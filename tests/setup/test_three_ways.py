"""One set-up written as a script, as TOML with a STEP part, and as an assembly is one set-up."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pytest

from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.shapes import Solid
from fixturecheck.setup.load import load
from fixturecheck.setup.model import Body, Setup


def close(numbers: Any) -> tuple[float, ...]:
    return tuple(round(float(v), 9) + 0.0 for v in numbers)


def of_face(solid: Solid, index: int) -> tuple[Any, ...]:
    face = faces_of(solid)[index]
    return close(face.Center().toTuple()), close(face.normalAt().toTuple()), close([face.Area()])


def of_body(body: Body) -> dict[str, Any]:
    names = body.face_names()
    matrix = body.at.wrapped.Transformation()
    return {
        "facts": (body.role, body.material, body.pole, body.group, body.no_function),
        "finish": dict(body.finish),
        "tolerance": dict(body.tolerance_mm),
        "orientation": dict(body.orientation_mm),
        "named": {n: sorted(of_face(body.solid, i) for i in body.faces[n]) for n in body.faces},
        "every face": sorted((name, of_face(body.solid, i)) for i, name in enumerate(names)),
        "volume": close([body.solid.Volume()]),
        # Exactly: one way of placing serves all three.
        "at": [matrix.Value(row, column) for row in (1, 2, 3) for column in (1, 2, 3, 4)],
    }


def facts(setup: Setup) -> dict[str, Any]:
    return {
        "name": (setup.name, setup.units),
        "bodies": {b.name: of_body(b) for b in setup.bodies},
        "order": [b.name for b in setup.bodies],
        "seats": setup.seats,
        "cuts": setup.cuts,
        "machine": setup.machine,
        "wheel": setup.wheel,
        "tolerances": setup.tolerances,
        "severity": dict(setup.severity),
    }


def test_the_three_ways_agree(gang: dict[str, Path]) -> None:
    script, toml, assembly = (facts(load(path)) for path in gang.values())
    assert script["bodies"].keys() == {"vee_left", "vee_right", "vee_spacer", "pawl_1", "pawl_2"}
    for part in script:
        assert toml[part] == script[part], part
        assert assembly[part] == script[part], part


def test_the_faces_meant_are_the_faces_found(gang: dict[str, Path]) -> None:
    """Against the drawing: the step's floor is 9 mm long at height 4, its wall 8 high at 9."""
    body = load(gang["toml"]).body("pawl_1")
    where = {name: of_face(body.solid, *body.faces[name]) for name in body.faces}
    assert where["floor"] == ((3.0, 13.5, 4.0), (0.0, 0.0, 1.0), (54.0,))
    assert where["wall"] == ((3.0, 9.0, 8.0), (0.0, 1.0, 0.0), (48.0,))
    assert where["base"] == ((3.0, 9.0, 0.0), (0.0, 0.0, -1.0), (108.0,))
    assert where["corner"][0] == (3.0, 1.0, 11.0)


def test_result_is_the_same_byte_for_byte_but_for_where_it_is_stated(gang: dict[str, Path]) -> None:
    import json

    from fixturecheck.engine import check
    from fixturecheck.report.json import result_json

    written = []
    for path in gang.values():
        told = json.loads(result_json(check(load(path))))
        del told["setup"]["sources"], told["setup"]["file"]
        for finding in told["findings"]:
            finding.pop("origin", None)
        written.append(json.dumps(told))
    assert written[1] == written[0]
    assert written[2] == written[0]


def test_sources_are_told_from_the_set_ups_folder(
    gang: dict[str, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path.parent)
    for path in (gang["toml"], gang["toml"].relative_to(tmp_path.parent)):
        sources = load(path).sources
        assert [s.path for s in sources] == ["gang.toml", "pawl.step"]
        for source in sources:
            assert source.sha256 == hashlib.sha256((tmp_path / source.path).read_bytes()).hexdigest()


def test_part_file_in_another_folder(gang: dict[str, Path], tmp_path: Path) -> None:
    home = tmp_path / "set-ups"
    home.mkdir()
    moved = home / "gang.toml"
    moved.write_text(gang["toml"].read_text().replace('"pawl.step"', '"../pawl.step"'))
    assert [s.path for s in load(moved).sources] == ["gang.toml", "../pawl.step"]


def test_a_gang_from_one_file_shares_no_faces(gang: dict[str, Path]) -> None:
    """Two bodies of one file are copies: what is said of a face of one is not said of the other's."""
    setup = load(gang["toml"])
    one, two = (faces_of(setup.body(f"pawl_{n}").solid) for n in (1, 2))
    assert not any(a.isSame(b) for a in one for b in two)
    assert load(gang["toml"]).body("pawl_1").faces == setup.body("pawl_2").faces
