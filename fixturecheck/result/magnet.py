"""The magnet that was found: its state, its pull on each face, and where its flux goes."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fixturecheck.faceref import FaceRef
from fixturecheck.result.shapes import Vector


class MagnetState(StrEnum):
    """What the magnet is switched to."""

    OFF = "off"
    TRIFLE = "trifle"
    FULL = "full"


@dataclass(frozen=True, slots=True, kw_only=True)
class MagnetUsed:
    """What the magnet is taken for.

    Parameters
    ----------
    state : MagnetState
        What it is switched to.
    trifle_share : float
        Share of the full field that `trifle` gives, 0 to 1.
    gives_mm : tuple of float
        Gap behind the poles that it gives way like, at either end of what is known; empty where its pull is
        not known.
    calibrated : str or None
        The calibration that it is taken from.
    source_stated : bool
        Whether the set-up states the source itself.
    rated_n_cm2 : float
        Pull per area that every pull is relative to.
    rated_stated : bool
        Whether the set-up states that.
    piece, finish : str
        The piece that the rating was measured with.
    """

    state: MagnetState
    trifle_share: float = 0.0
    gives_mm: tuple[float, ...] = ()
    calibrated: str | None = None
    source_stated: bool = False
    rated_n_cm2: float = 0.0
    rated_stated: bool = False
    piece: str = ""
    finish: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceHeld:
    """The magnet's pull across one pair of faces.

    Parameters
    ----------
    a, b : FaceRef
        Face on either side.
    low_n, high_n : float
        Pull, with all that is not known well.
    area_mm2 : float
        Area that carries it.
    flux_density_t : float
        Mean over that area.
    centre_mm, toward : Vector
        Centre of pull, and the way in which `a` is drawn.
    """

    a: FaceRef
    b: FaceRef
    low_n: float
    high_n: float
    area_mm2: float
    flux_density_t: float
    centre_mm: Vector
    toward: Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class PullMap:
    """The pull over one pair of faces, to be drawn: small squares, each of one pull per area.

    Parameters
    ----------
    a, b : FaceRef
        Face on either side.
    toward : Vector
        Square to the faces, the way in which `a` is drawn.
    points_mm : tuple of Vector
        Middles of the squares.
    area_mm2, pull_n_cm2 : tuple of float
        Of each square, at the weak end of what is not known well.
    """

    a: FaceRef
    b: FaceRef
    toward: Vector
    points_mm: tuple[Vector, ...]
    area_mm2: tuple[float, ...]
    pull_n_cm2: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FluxSection:
    """The flux in a plane through the iron, to be drawn.

    Parameters
    ----------
    normal, at_mm : Vector
        Of the plane; `at_mm` is the middle of the window.
    wide_mm, spacing_mm : float
        Width of the window, and how far apart its points are.
    points_mm, flux_density_t : tuple of Vector
        Places in the iron and the flux density there.
    outlines : tuple of (body, pieces)
        Where the plane cuts each iron body: straight pieces by their two ends.
    poles : tuple of (name, place)
        `N` or `S`, and the middle of the pole in the plane.
    """

    normal: Vector
    at_mm: Vector
    wide_mm: float
    spacing_mm: float
    points_mm: tuple[Vector, ...]
    flux_density_t: tuple[Vector, ...]
    outlines: tuple[tuple[str, tuple[tuple[Vector, Vector], ...]], ...]
    poles: tuple[tuple[str, Vector], ...]


class PullNoteKind(StrEnum):
    """What there is to know about how the magnet's pull was computed."""

    COARSE = "coarse"
    NOT_MAGNETIC = "not magnetic"
    NO_CURVE = "no curve"
    LEFT_OUT = "left out"
    NO_FLUX = "no flux"


@dataclass(frozen=True, slots=True, kw_only=True)
class PullNote:
    """One thing to know about how the magnet's pull was computed.

    Parameters
    ----------
    kind : PullNoteKind
        What it is.
    of : str
        The body, material or face.
    material : str
        Of what a body is that is not magnetic; empty for other kinds.
    across : tuple of str
        The faces and poles between which and the face flux is left out.
    mesh_mm : float
        Size of the elements of a body that was meshed coarser than asked; zero for other kinds.
    """

    kind: PullNoteKind
    of: str
    material: str = ""
    across: tuple[str, ...] = ()
    mesh_mm: float = 0.0
