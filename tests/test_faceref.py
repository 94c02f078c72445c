"""Names of faces are put together and taken apart in one place."""

from __future__ import annotations

import json

import pytest

from fixturecheck.faceref import FaceRef
from tests.meta.source import modules


@pytest.mark.parametrize(
    ("body", "faces", "text"),
    [
        ("pawl_1", ("floor",), "pawl_1.floor"),
        ("vee", ("flank", "land"), "vee.flank+land"),
        ("gib", (), "gib"),
    ],
)
def test_a_reference_reads_back_as_it_was_put_together(body: str, faces: tuple[str, ...], text: str) -> None:
    ref = FaceRef.of(body, *faces)
    assert ref == text
    assert (ref.body, ref.faces, ref.face) == (body, faces, "+".join(faces))
    assert json.dumps([ref]) == f'["{text}"]'


def test_no_other_module_takes_a_face_name_apart() -> None:
    """Elsewhere only keys of a TOML file and the names of mesh files are split at dots."""
    apart = ('split(".', 'partition(".', 'split("+")', '" on "')
    found = {m.name for m in modules() if any(a in m.text for a in apart)}
    assert found == {"faceref", "setup.document", "report.write"}
