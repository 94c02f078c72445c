"""What does the marking on a wheel say it is made of."""

from __future__ import annotations

import re
from dataclasses import dataclass

from fixturecheck.errors import SetupError

_SPEC = re.compile(
    r"(?P<abrasive>\d{0,3}[A-Z]{1,2})[ -]*(?P<grit>\d{1,4})[ -]*(?P<grade>[A-Z])[ -]*"
    r"(?P<structure>\d{1,2})?[ -]*(?P<bond>RF|BF|MG|PL|V|S|R|B|E)(?P<makers>.*)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spec:
    """What a wheel is made of, as marked.

    Parameters
    ----------
    abrasive : str
        Kind of grain with the maker's prefix, as in `40A`.
    grit : int
        Mesh; larger is finer.
    grade : str
        A (soft) to Z (hard).
    structure : int or None
        Larger is more open; not every marking has it.
    bond : str
        V vitrified, B resinoid, R rubber, E shellac, S silicate, MG magnesite, PL plastic; F is reinforced.
    makers : str
        What the maker adds after the bond.
    """

    abrasive: str
    grit: int
    grade: str
    structure: int | None
    bond: str
    makers: str = ""


def parse_spec(text: str) -> Spec:
    """Read a specification like `40A 60 K 7 V`: abrasive, grit, grade, structure and bond, as in ISO 525.

    Raises
    ------
    SetupError
        The text is no such specification.
    """
    found = _SPEC.fullmatch(text.strip().upper())
    if not found:
        message = f"wheel spec {text!r} must be like '40A 60 K 7 V': abrasive, grit, grade, structure, bond"
        raise SetupError(message)
    structure = found["structure"]
    return Spec(
        abrasive=found["abrasive"],
        grit=int(found["grit"]),
        grade=found["grade"],
        structure=int(structure) if structure else None,
        bond=found["bond"],
        makers=found["makers"].strip(" -"),
    )
