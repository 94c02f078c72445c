"""Which bodies of a set-up a toolmaker picks up and puts elsewhere, and which go together."""

from __future__ import annotations

from fixturecheck.setup.model import Setup


def together(setup: Setup, name: str) -> tuple[str, ...]:
    """Return the bodies of the same piece of equipment, the named one included."""
    group = setup.body(name).group
    return tuple(b.name for b in setup.bodies if b.name == name or (group is not None and b.group == group))


def is_loose(setup: Setup, name: str) -> bool:
    """Tell whether a body is a block, parallel or stop of its own: no part, no magnet, of one piece.

    A chuck, V-block or vise is of several pieces, or has poles; it is not changed for one job.
    """
    body = setup.body(name)
    return body.role == "fixture" and body.pole is None and not body.poles and len(together(setup, name)) == 1
