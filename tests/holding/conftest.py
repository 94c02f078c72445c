"""What the tests of the hold share: one mesher, so that a chuck is meshed once for all of them."""

import pytest

from fixturecheck.kernel.mesh.tetrahedra import TetMesher


@pytest.fixture(scope="session")
def mesher():
    return TetMesher()
