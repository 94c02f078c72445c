"""How a face of a body is named, `body.face`, an edge or corner, `body.a+b`, and a pair of faces."""

from __future__ import annotations

BURR_ON = "burr_on_"
"""How the faces of a burr are called that is drawn on an edge of a face: `burr_on_FACE`."""


class FaceRef(str):
    """Name of a face of one body, or of the faces that an edge or corner lies between.

    It is text, so that it compares, sorts, prints and is written to files as such; this is the only place
    that puts it together and takes it apart. The name of a body alone is a reference without faces.
    """

    __slots__ = ()

    @classmethod
    def of(cls, body: str, *faces: str) -> FaceRef:
        """Return the reference to a face, or to the edge or corner between several."""
        return cls(f"{body}.{'+'.join(faces)}" if faces else body)

    @property
    def body(self) -> str:
        """Name of the body."""
        return self.partition(".")[0]

    @property
    def face(self) -> str:
        """Name of the face, or of several joined by `+`; empty for a body alone."""
        return self.partition(".")[2]

    @property
    def faces(self) -> tuple[str, ...]:
        """Name of each face; more than one for an edge or corner."""
        return tuple(self.face.split("+")) if self.face else ()

    @property
    def is_burr(self) -> bool:
        """Whether it names a burr, or an edge of one."""
        return any(name.startswith(BURR_ON) for name in self.faces)


_ON = " on "


def on(own: str, other: str) -> str:
    """Return the name of a pair of faces: `body.face on body.face`.

    Parameters
    ----------
    own : str
        The face that is named first.
    other : str
        The face that it is on.

    Returns
    -------
    str
        The name.
    """
    return f"{own}{_ON}{other}"


def both_sides(pair: str) -> tuple[FaceRef, FaceRef]:
    """Return the two faces of a pair by its name.

    Parameters
    ----------
    pair : str
        A name as `on` makes it.

    Returns
    -------
    tuple
        The face that is named first, and the other.
    """
    own, _, other = pair.partition(_ON)
    return FaceRef(own), FaceRef(other)
