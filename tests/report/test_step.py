"""setup.step, read back by text alone, by gmsh, and by the program's own reader."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from fixturecheck.kernel.step import read
from fixturecheck.report.pictures.figures import body_colours
from fixturecheck.report.write import with_fixed_order, write_setup_step
from fixturecheck.result.shapes import Role
from tests.report import staged
from tests.report.part21_plain import File, parse

RESULT = staged.result()
SOLIDS = {"plate", "rail", "gib_1", "gib_2", "hit_guard_rail", "left_over_1", "wheel"}
# ISO 10303-242 edition 1, as in the NIST test parts' own header.
AP242 = "AP242_MANAGED_MODEL_BASED_3D_ENGINEERING_MIM_LF {1 0 10303 442 1 1 4 }"


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("step") / "setup.step"
    write_setup_step(path, RESULT, staged.setup())
    return path


@pytest.fixture(scope="module")
def plain(path: Path) -> File:
    return parse(path.read_text(encoding="utf-8"))


def test_schema_is_ap242(plain: File) -> None:
    assert AP242 in " ".join(plain.header.split())


def test_header_carries_no_date_and_no_machine(plain: File) -> None:
    assert "1970-01-01T00:00:00" in plain.header
    assert not re.search(r"20\d\d-", plain.header)


def test_one_solid_for_each_solid(plain: File) -> None:
    assert len(plain.kinds("MANIFOLD_SOLID_BREP")) == len(SOLIDS)


def test_every_shape_is_a_named_product(plain: File) -> None:
    assert sorted(plain.first_strings("PRODUCT")) == sorted([RESULT.name, *(s.name for s in RESULT.shapes)])
    occurrences = plain.kinds("NEXT_ASSEMBLY_USAGE_OCCURRENCE").values()
    assert sorted(b.split("'")[3] for b in occurrences) == sorted(s.name for s in RESULT.shapes)


def test_face_names_are_kept_for_each_instance(plain: File) -> None:
    """Two gibs are one solid placed twice; each must still carry its own six names."""
    names = [n for n in plain.first_strings("ADVANCED_FACE") if n]
    assert sorted(names) == sorted(list(staged.SIX) * 4)


def test_faces_lines_and_points_survive(plain: File) -> None:
    """What has no thickness: a shell for the face, curve sets for the line and for the point's mark."""
    kinds = {
        "touch_gib_1_plate": ("SHELL_BASED_SURFACE_MODEL", 1),
        "edge_line": ("TRIMMED_CURVE", 1),
        "burr": ("TRIMMED_CURVE", 3),
    }
    for name, (kind, count) in kinds.items():
        assert len(_geometry(plain, name, kind)) == count, name
    marks = _geometry(plain, "burr", "CARTESIAN_POINT")
    assert any("(30.,1.9,5.)" in plain.entities[n] for n in marks)


def _geometry(plain: File, product: str, kind: str) -> list[int]:
    """Walk from a product to its representation, as a reader of the standard would."""
    found: list[int] = []
    for number, body in plain.kinds("SHAPE_DEFINITION_REPRESENTATION").items():
        definition, representation = plain.references(number)
        products = plain.reached(definition, "PRODUCT")
        names = [plain.entities[p].split("'")[1] for p in products]
        if names == [product] and body:
            found += plain.reached(representation, kind)
    return found


def test_colours_are_those_of_the_roles(plain: File) -> None:
    written = {
        tuple(round(float(v) * 255) for v in re.findall(r"[-\d.]+(?:E[-+]?\d+)?", body.split("'")[2]))
        for body in plain.kinds("COLOUR_RGB").values()
    }
    assert written == set(body_colours(RESULT.shapes).values())
    styled = len(plain.kinds("STYLED_ITEM"))
    assert styled >= len(RESULT.shapes)


@pytest.fixture(scope="module")
def seen_by_gmsh(path: Path) -> dict[str, list[float]]:
    """Volume and colour of every named solid, as gmsh reads them, in a process of its own."""
    script = """
import gmsh, json, sys
gmsh.initialize(); gmsh.option.setNumber("General.Terminal", 0)
gmsh.option.setNumber("Geometry.OCCImportLabels", 1)
gmsh.model.occ.importShapes(sys.argv[1], highestDimOnly=False); gmsh.model.occ.synchronize()
out = {}
for dim, tag in gmsh.model.getEntities(3):
    name = gmsh.model.getEntityName(dim, tag)
    out[name] = [gmsh.model.occ.getMass(dim, tag), *gmsh.model.getColor(dim, tag)[:3]]
print(json.dumps(out))
"""
    run = subprocess.run(
        [sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=True
    )
    seen: dict[str, list[float]] = json.loads(run.stdout.splitlines()[-1])
    return seen


def test_gmsh_finds_the_same_solids(seen_by_gmsh: dict[str, list[float]]) -> None:
    colours = body_colours(RESULT.shapes)
    shapes = staged.shapes()
    assert {name.split("/")[-1] for name in seen_by_gmsh} == SOLIDS
    for label, (volume, *rgb) in seen_by_gmsh.items():
        name = label.split("/")[-1]
        assert volume == pytest.approx(shapes[name].geometry.Volume(), rel=1e-9)
        assert tuple(rgb) == colours[name]


def test_own_reader_finds_bodies_and_face_names(path: Path) -> None:
    found = {solid.name: solid for solid in read(path).solids}
    for body in staged.bodies():
        assert set(found[body.name].faces) == set(staged.SIX)
        assert found[body.name].solid.Volume() == pytest.approx(body.solid.Volume(), rel=1e-9)


def test_same_bytes_twice_and_in_another_process(path: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.step"
    write_setup_step(again, RESULT, staged.setup())
    assert again.read_bytes() == path.read_bytes()
    script = (
        "import sys; from pathlib import Path; from tests.report import staged;"
        "from fixturecheck.report.write import write_setup_step;"
        "write_setup_step(Path(sys.argv[1]), staged.result(), staged.setup())"
    )
    root = Path(__file__).parents[2]
    subprocess.run([sys.executable, "-c", script, str(again)], check=True, cwd=root, capture_output=True)
    assert again.read_bytes() == path.read_bytes()


STYLED = """DATA;
#1 = A('#9');
#2 = CTX();
#3 = SOLID('x');
#4 = SOLID('y');
#5 = MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION('',(#6),#2);
#6 = STYLED_ITEM('color',(#7),#4);
#7 = COLOUR_RGB('',1.,0.,0.);
#8 = MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION('',(#9),#2);
#9 = STYLED_ITEM('color',(#7),#3);
ENDSEC;
"""


def test_styles_are_sorted_and_lose_nothing() -> None:
    text = with_fixed_order(STYLED)
    before, after = parse(STYLED), parse(text)

    def styles(file: File) -> Iterator[tuple[str, str]]:
        for number in file.kinds("STYLED_ITEM"):
            style, target = file.references(number)
            yield file.entities[style], file.entities[target]

    assert sorted(styles(after)) == sorted(styles(before))
    assert [target for _, target in styles(after)] == ["SOLID('x')", "SOLID('y')"]
    assert after.entities[1] == "A('#9')"
    assert with_fixed_order(text) == text
    assert set(after.entities) == set(before.entities)


def test_text_without_styles_is_left_alone() -> None:
    assert with_fixed_order("DATA;\n#1 = A();\nENDSEC;\n") == "DATA;\n#1 = A();\nENDSEC;\n"


def test_all_roles_have_a_colour() -> None:
    from fixturecheck.report.pictures.figures import ROLES, WORDS

    assert set(ROLES) == set(WORDS) == set(Role)


def test_what_else_was_written_in_the_process_changes_nothing(path: Path, tmp_path: Path) -> None:
    """CadQuery's own export leaves the kernel's switch for sub-shape names turned on."""
    from cadquery import Assembly, Workplane

    Assembly(Workplane().box(1, 2, 3), name="other").export(str(tmp_path / "other.step"))
    again = tmp_path / "again.step"
    write_setup_step(again, RESULT, staged.setup())
    assert again.read_bytes() == path.read_bytes()
