"""Solids that others drew, as they ship with the packages that the tests need: volume, area, faces, box.

Numbers as another version of the kernel found them (8.0.1.1). The files stay where they are; that of a Debian
package is taken out of it, which needs no rights, and only on systems that have such packages.
"""

from __future__ import annotations

import shutil
import subprocess
from collections import Counter
from dataclasses import dataclass
from importlib.metadata import files
from pathlib import Path

import pytest

from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import compound
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.step import read


@dataclass(frozen=True, kw_only=True)
class Drawn:
    package: str
    file: str
    solids: int
    faces: int
    kinds: dict[str, int] | None
    volume_mm3: float
    area_mm2: float
    box_mm: tuple[float, float, float]


PARTS = (
    Drawn(
        package="gmsh", file="step_boundary_colors.stp", solids=1, faces=6, kinds={"PLANE": 6},
        volume_mm3=1_000_000.0, area_mm2=60_000.0, box_mm=(100.0, 100.0, 100.0),
    ),
    Drawn(
        package="gmsh", file="as1-tu-203.stp", solids=18, faces=160, kinds=None,
        volume_mm3=764_518.98, area_mm2=141_079.11, box_mm=(200.0, 150.0, 84.0),
    ),
    Drawn(
        package="gmsh", file="t20_data.step", solids=1, faces=21, kinds={"BSPLINE": 21},
        volume_mm3=18_388.46, area_mm2=6_368.80, box_mm=(37.0, 33.0, 32.0),
    ),
    Drawn(
        package="netgen-mesher", file="screw.step", solids=1, faces=10,
        kinds={"PLANE": 4, "CYLINDER": 1, "CONE": 2, "TORUS": 3},
        volume_mm3=3_788.27, area_mm2=1_929.33, box_mm=(19.8, 20.0, 42.0),
    ),
)  # fmt: skip


IN_DEBIAN = Drawn(
    package="occt-misc", file="linkrods.step", solids=1, faces=37, kinds=None,
    volume_mm3=3.847, area_mm2=32.15, box_mm=(5.0, 1.5, 2.0),
)  # fmt: skip


def from_debian(part: Drawn, folder: Path) -> Path:
    """The file, out of the package that the system's sources have."""
    apt, unpack = shutil.which("apt-get"), shutil.which("dpkg-deb")
    if apt and unpack:
        for asked in (["download", part.package], ["update", "-qq"], ["download", part.package]):
            subprocess.run([apt, *asked], cwd=folder, check=False, capture_output=True)
            if list(folder.glob("*.deb")):
                break
    packages = list(folder.glob("*.deb"))
    if not packages:
        pytest.skip(f"{part.file} comes in a Debian package, which this system cannot fetch")
    subprocess.run([str(unpack), "-x", str(packages[0]), str(folder)], check=True, capture_output=True)
    (found,) = folder.rglob(part.file)
    return found


def test_a_solid_of_a_debian_package_is_read_as_others_read_it(tmp_path: Path) -> None:
    """Four digits are known of it, and its box to half a unit."""
    (found,) = read(from_debian(IN_DEBIAN, tmp_path)).solids
    assert len(faces_of(found.solid)) == IN_DEBIAN.faces
    assert found.solid.Volume() == pytest.approx(IN_DEBIAN.volume_mm3, rel=2e-4)
    assert found.solid.Area() == pytest.approx(IN_DEBIAN.area_mm2, rel=2e-4)
    box = box_of(found.solid)
    assert [box[k + 3] - box[k] for k in range(3)] == pytest.approx(IN_DEBIAN.box_mm, abs=0.5)


def shipped(part: Drawn) -> Path:
    """The file where its package was installed; a package that came without it fails the test."""
    found = [f for f in files(part.package) or () if f.name == part.file]
    assert found, f"{part.package} came without {part.file}"
    return Path(str(found[0].locate()))


@pytest.mark.parametrize("part", PARTS, ids=lambda p: p.file)
def test_a_solid_is_read_as_others_read_it(part: Drawn) -> None:
    solids = [s.solid for s in read(shipped(part)).solids]
    assert len(solids) == part.solids
    kinds = Counter(f.geomType() for s in solids for f in faces_of(s))
    assert sum(kinds.values()) == part.faces
    if part.kinds is not None:
        assert kinds == part.kinds
    assert sum(s.Volume() for s in solids) == pytest.approx(part.volume_mm3, rel=1e-6)
    assert sum(s.Area() for s in solids) == pytest.approx(part.area_mm2, rel=2e-6)
    box = box_of(compound(solids))
    # The table says the box to the nearest millimetre, or tenth.
    assert [box[k + 3] - box[k] for k in range(3)] == pytest.approx(part.box_mm, abs=0.5)
