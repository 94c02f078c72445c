"""What every check is given: the set-up, where everything stands, what touches and what the wheel did."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fixturecheck.access.model import GroundCut
from fixturecheck.contact.model import ContactMap
from fixturecheck.kernel.shapes import Solid
from fixturecheck.setup.model import Setup


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stage:
    """The set-up worked out as far as geometry goes; checks read it and change nothing.

    Parameters
    ----------
    placed : mapping of str to Solid
        Every body's solid in the machine's frame.
    contacts : ContactMap
        All patches at the drawn pose.
    cuts : tuple of GroundCut
        Each cut with its wheel sweep and the part as ground.
    """

    setup: Setup
    placed: Mapping[str, Solid]
    contacts: ContactMap
    cuts: tuple[GroundCut, ...]
