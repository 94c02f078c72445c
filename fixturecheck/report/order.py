"""In which order findings are shown, and the number each one goes by in report and pictures."""

from __future__ import annotations

from dataclasses import dataclass

from fixturecheck.result import Result
from fixturecheck.result.contact import Contact, ContactKind
from fixturecheck.result.finding import Finding, Group, Verdict
from fixturecheck.result.hold import HoldFound, PartHeld
from fixturecheck.wording.sentences import Together

_ORDER = (Verdict.NO_GO, Verdict.UNKNOWN, Verdict.CAUTION, Verdict.GO)
_AFTER_OVERRULED = 2
"""Overruled findings come after what is no-go or unknown, before cautions."""

OVERVIEW = "overview.png"
REST = "rest.png"
LOCATION = "location.png"
HOLD_PULL = "hold_pull.png"
HOLD_FLUX = "hold_flux.png"

MOST_PICTURES = 24
"""Pictures of findings drawn at most; a gang that fails the same way many times needs no more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbered:
    """What is reported under one number, and its picture.

    Parameters
    ----------
    number : int
        Counted from 1, the worst first.
    together : Together
        The finding that leads, and those like it.
    picture : str or None
        File name of its picture; None where it has none.
    follows : tuple of Together
        What follows from it.
    """

    number: int
    together: Together
    picture: str | None
    follows: tuple[Together, ...] = ()

    @property
    def finding(self) -> Finding:
        """The finding that leads."""
        return self.together.finding


def numbered(result: Result) -> tuple[Numbered, ...]:
    """Return every finding by groups, in the checks' own order: no-go, unknown, overruled, caution, go.

    A finding that no group of the result names stands for itself.

    Parameters
    ----------
    result : Result
        What was found.

    Returns
    -------
    tuple of Numbered
        One for each group; the first that can be shown have a picture, at most `MOST_PICTURES`.
    """
    checks = {name: i for i, name in reversed(list(enumerate(f.check for f in result.findings)))}

    def place(group: Group) -> tuple[float, int, tuple[object, ...]]:
        f = result.findings[group.lead]
        return _rank(f), checks[f.check], f.place

    drawn = 0
    rows = []
    for number, group in enumerate(sorted(_groups(result), key=place), start=1):
        picture = None
        together = _together(result, group)
        if _can_be_shown(together.finding) and drawn < MOST_PICTURES:
            drawn += 1
            picture = f"{number:02d}_{together.finding.check}.png"
        follows = tuple(_together(result, g) for g in sorted(group.follows, key=place))
        rows.append(Numbered(number=number, together=together, picture=picture, follows=follows))
    return tuple(rows)


def stop_of(number: str, place: int) -> str:
    """Return the stop of the 3-D view that shows the finding at a place under a number.

    Parameters
    ----------
    number : str
        Number under which the finding is reported.
    place : int
        Place of the finding among those under the number, from 0.

    Returns
    -------
    str
        Id of the stop.
    """
    return number if place == 0 else f"{number}.{place}"


_BY_SIZE = {ContactKind.AREA: 0, ContactKind.LINE: 1, ContactKind.POINT: 2, ContactKind.NEAR: 3}

MOST_TOUCHES = 60
"""Contacts that can each be looked at in the 3-D view; a gang that touches in more places repeats itself."""


def ranked_contacts(result: Result) -> list[Contact]:
    """Return what touches, areas first and small gaps last.

    Parameters
    ----------
    result : Result
        What was found.

    Returns
    -------
    list of Contact
        All of them, small gaps included.
    """
    return sorted(result.contacts, key=lambda c: (_BY_SIZE[c.kind], c.a, c.b, c.centroid))


def stop_of_contact(place: int) -> str:
    """Return the stop of the 3-D view that shows the contact at a place of the ranked ones.

    Parameters
    ----------
    place : int
        Place among `ranked_contacts`, from 0.

    Returns
    -------
    str
        Id of the stop.
    """
    return f"touch {place + 1}"


def _together(result: Result, group: Group) -> Together:
    return Together(finding=result.findings[group.lead], like=tuple(result.findings[i] for i in group.like))


def _groups(result: Result) -> list[Group]:
    """Return the groups, and one for each finding that is in none."""
    grouped = {i for g in result.groups for one in (g, *g.follows) for i in one.members()}
    alone = [Group(lead=i) for i in range(len(result.findings)) if i not in grouped]
    return [*result.groups, *alone]


def _rank(finding: Finding) -> float:
    return _AFTER_OVERRULED - 0.5 if finding.overruled else float(_ORDER.index(finding.verdict))


def _can_be_shown(finding: Finding) -> bool:
    """Tell whether there is a place to aim at; a no-go may take it from its shapes, overruled or not."""
    if Verdict.NO_GO in {finding.verdict, finding.overruled}:
        return finding.location_mm is not None or bool(finding.shapes)
    return finding.verdict is Verdict.CAUTION and finding.location_mm is not None


def let_go_picture(hold: HoldFound, part: PartHeld) -> str:
    """Return the file name of the picture of how a part lets go in one cut.

    Parameters
    ----------
    hold : HoldFound
        Its cuts, in the order of its parts, number the pictures from 1.
    part : PartHeld
        Only its cut counts.

    Returns
    -------
    str
        One for each cut, without its folder.
    """
    cuts = list(dict.fromkeys(p.cut for p in hold.parts))
    return f"hold_goes_{cuts.index(part.cut) + 1}.png"


def worst_of_each_cut(hold: HoldFound) -> tuple[PartHeld, ...]:
    """Return the part that holds least in each cut, in the order of the cuts.

    Parameters
    ----------
    hold : HoldFound
        The hold with all its parts.

    Returns
    -------
    tuple of PartHeld
        One for each cut; of parts that hold alike the first.
    """
    worst: dict[str, PartHeld] = {}
    for part in hold.parts:
        if part.cut not in worst or part.factor_low < worst[part.cut].factor_low:
            worst[part.cut] = part
    return tuple(worst.values())
