"""Assemblies as set-ups, and results drawn into assemblies."""

# ruff: noqa: E501 - one row for each mistake reads best as a table

from __future__ import annotations

from pathlib import Path
from typing import Any

import cadquery as cq
import pytest

from fixturecheck.cq import annotate, setup_from_assembly
from fixturecheck.errors import SetupError
from fixturecheck.result import Result
from fixturecheck.result.finding import Verdict
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.setup.load import load


def facts(**more: Any) -> dict[str, Any]:
    return {"fixturecheck": more}


def stacked() -> cq.Assembly:
    """Return a block on a table, put there by a constraint."""
    top = cq.Assembly(name="stack", metadata=facts(setup={"name": "stack"}))
    top.add(cq.Workplane().box(50, 50, 10), name="table", metadata=facts(role="fixture", faces={"top": ">Z"}))
    top.add(
        cq.Workplane().box(10, 10, 10),
        name="block",
        loc=cq.Location((3, 4, 90)),
        metadata=facts(faces={"base": "<Z", "top": ">Z"}),
    )
    return top


def refused(assembly: cq.Assembly, **more: Any) -> str:
    with pytest.raises(SetupError) as caught:
        setup_from_assembly(assembly, **more)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_solved_constraints_are_where_bodies_stand() -> None:
    top = stacked()
    top.constrain("table", "Fixed")
    top.constrain("table@faces@>Z", "block@faces@<Z", "Plane")
    top.solve()
    block = setup_from_assembly(top).body("block")
    # The solver is numerical; the table's top is at z = 5 and the block is 10 high.
    assert block.solid.moved(block.at).Center().toTuple() == pytest.approx((0, 0, 10), abs=1e-3)


def placed_in_vee(**more: Any) -> cq.Assembly:
    """A square bar that is drawn anywhere, its corner turned down, with its seats in a V-block and a stop."""
    vee = {"kind": "magnetic_v_block", "name": "vee", "params": {"length_mm": 80.0}}
    stop = {
        "kind": "blocking_block",
        "name": "stop",
        "seats": [
            {"face": "base", "on": "vee_left", "on_face": "land"},
            {"face": "minus_y", "on": "vee_left", "on_face": "minus_y"},
        ],
        "along_mm": 30.0,
    }
    top = cq.Assembly(name="top", metadata=facts(equipment=[vee, stop]))
    seats = [
        {"face": "left", "on": "vee_left", "on_face": "left_flank"},
        {"face": "right", "on": "vee_right", "on_face": "right_flank"},
    ]
    names = {"left": "<Y", "right": "<Z", "end": ">X"}
    top.add(
        cq.Workplane().box(40, 12, 12),
        name="bar",
        loc=cq.Location((7, 90, 50), (1, 0, 0), 40),
        metadata=facts(**{"faces": names, "seats": seats, "along_mm": 5.0, **more}),
    )
    return top


def test_a_body_of_an_assembly_is_placed_by_its_seats() -> None:
    """Closed form: a square bar of side a stands with its middle a / sqrt(2) over the line of the flanks."""
    setup = setup_from_assembly(placed_in_vee())
    bar = setup.body("bar")
    middle = bar.solid.moved(bar.at).Center().toTuple()
    assert middle[1:] == pytest.approx((0, 12 / 2**0.5), abs=1e-6)
    assert {(s.face, s.on) for s in setup.seats} == {("left", "vee_left"), ("right", "vee_right")}
    turned = bar.at.toTuple()[1]
    assert abs(turned[0]) == pytest.approx(45.0, abs=1e-6)
    stop = setup.body("stop")
    assert stop.solid.moved(stop.at).BoundingBox().zmin == pytest.approx(30, abs=1e-6)


def test_seats_of_an_assembly_that_leave_a_freedom_say_so() -> None:
    top = placed_in_vee()
    del top.objects["bar"].metadata["fixturecheck"]["along_mm"]
    assert "'bar' is not located by its seats: it slides along X" in refused(top)
    assert "lacks the key 'on'" in refused(placed_in_vee(seats=[{"face": "left", "on_face": "left_flank"}]))
    assert "unknown key 'count'" in refused(placed_in_vee(count=2))


def test_nested_locations_add_up() -> None:
    inner = cq.Assembly(name="inner", loc=cq.Location((0, 0, 7), (0, 0, 1), 90))
    inner.add(cq.Workplane().box(1, 1, 1), name="part", loc=cq.Location((5, 0, 0)), metadata=facts())
    top = cq.Assembly(name="top", loc=cq.Location((100, 0, 0)), metadata=facts()).add(inner)
    part = setup_from_assembly(top).body("part")
    # Turned by a quarter about z, 5 in x becomes 5 in y.
    assert part.solid.moved(part.at).Center().toTuple() == pytest.approx((100, 5, 7), abs=1e-12)


def test_a_top_node_may_be_a_body() -> None:
    top = cq.Assembly(
        cq.Workplane().box(1, 2, 3),
        name="part",
        metadata=facts(body={"material": "brass"}, setup={"name": "x"}),
    )
    setup = setup_from_assembly(top)
    assert (setup.name, setup.body("part").material) == ("x", "brass")


def test_nodes_can_be_left_out() -> None:
    top = stacked()
    top.add(cq.Workplane().sphere(1), name="mark", metadata=facts(skip=True))
    assert [b.name for b in setup_from_assembly(top).bodies] == ["table", "block"]


def test_facts_may_be_given_apart() -> None:
    cuts = [{"name": "c", "parts": ["block"], "floor": "top"}]
    assert setup_from_assembly(stacked(), facts={"cut": cuts}).cuts[0].floor == "top"


def test_set_up_keeps_the_assembly_as_it_was() -> None:
    top = stacked()
    before = [(n, child.loc.toTuple(), list(child.children)) for n, child in top.traverse()]
    setup_from_assembly(top)
    assert [(n, child.loc.toTuple(), list(child.children)) for n, child in top.traverse()] == before


def test_a_node_that_states_nothing_is_refused() -> None:
    top = stacked().add(cq.Workplane().sphere(1), name="mark")
    assert refused(top).startswith(
        "assembly node 'mark': nothing is stated about its solid; give it metadata="
    )
    bare = cq.Assembly(name="bare").add(cq.Workplane().sphere(1), name="p", metadata=facts())
    assert refused(bare).startswith("assembly node 'bare': nothing is stated about the top node; give it")


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"mateial": "brass"}, "assembly node 'p', ['mateial']: unknown key 'mateial' in body 'p'; did you mean 'material'"),
        ({"material": 3}, "assembly node 'p', ['material']: material in body 'p' must be text in quotes; got number 3"),
        ({"faces": {"a": {"tag": "x"}}}, "assembly node 'p', ['faces']['a']: a in the faces of body 'p': tag 'x': only a workplane has tags; add the workplane, not its shape"),
        ({"faces": {"a": ">Q"}}, "assembly node 'p': body 'p', face 'a': selector '>Q' does not parse"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_with_its_node(given: dict[str, Any], message: str) -> None:
    top = cq.Assembly(name="top", metadata=facts()).add(
        cq.Workplane().box(1, 1, 1).val(), name="p", metadata=facts(**given)
    )
    assert message in refused(top)


def test_a_tag_that_is_not_on_the_workplane_is_refused() -> None:
    top = cq.Assembly(name="top", metadata=facts()).add(
        cq.Workplane().box(1, 1, 1), name="p", metadata=facts(faces={"a": {"tag": "x"}})
    )
    assert (
        refused(top)
        == "assembly node 'p', ['faces']['a']: a in the faces of body 'p': tag 'x' is not on the workplane; set it with .tag('x')"
    )


def test_what_is_wrong_with_the_whole_is_said_with_its_entry() -> None:
    message = refused(stacked(), facts={"cut": [{"name": "c", "parts": ["block"], "floor": "tpo"}]})
    assert (
        message
        == "assembly node 'stack', ['cut'][0]: cut 'c': body 'block' has no face 'tpo'; did you mean 'top'?"
    )


def test_a_script_may_leave_an_assembly(tmp_path: Path) -> None:
    path = tmp_path / "a.py"
    path.write_text(
        "import cadquery as cq\n"
        "from fixturecheck.cq import setup_from_assembly\n"
        "top = cq.Assembly(name='top', metadata={'fixturecheck': {}})\n"
        "top.add(cq.Workplane().box(1, 1, 1), name='p', metadata={'fixturecheck': {}})\n"
        "setup = setup_from_assembly(top)\n"
    )
    assert load(path).name == "top"
    path.write_text(path.read_text().replace("setup_from_assembly(top)", "top"))
    assert load(path).name == "top"


def test_annotate_adds_what_was_found_and_changes_nothing() -> None:
    top = stacked()
    patch = cq.Face.makePlane(3, 4)
    shapes = (
        NamedShape(name="block", role=Role.PART, geometry=top.objects["block"].obj.val(), bodies=("block",)),
        NamedShape(name="block.base|table.top", role=Role.AREA, geometry=patch, bodies=("block", "table")),
        NamedShape(name="hit", role=Role.COLLISION, geometry=cq.Solid.makeBox(1, 1, 1), bodies=("block",)),
    )
    result = Result(
        verdict=Verdict.GO, name="x", units="mm", sources=(), findings=(), contacts=(), cuts=(), shapes=shapes
    )
    names = [n for n, _ in top.traverse()]
    drawn = annotate(top, result)
    assert [n for n, _ in top.traverse()] == names
    found = drawn.objects["found"]
    assert [(c.name, [one.name for one in c.children]) for c in found.children] == [
        ("contacts", ["block.base|table.top"]),
        ("overlap, collision, gouge, leftover", ["hit"]),
    ]
    shapes = [one for c in found.children for one in c.children]
    assert shapes[0].obj.Area() == pytest.approx(12)
    colours = {one.color.toTuple()[:3] for one in shapes}
    assert len(colours) == 2
    assert drawn.objects["stack"].children[1].name == "block"
    volumes = sorted(solid.Volume() for solid in drawn.toCompound().Solids())
    assert volumes == pytest.approx([1, 1000, 50 * 50 * 10])
