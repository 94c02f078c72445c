"""Keepers whose lip meets the fillet of a stop's shelf before their back meets its wall."""

from __future__ import annotations

import cadquery as cq

from fixturecheck import Push, Relieving, Seat, Setup, Staging, body

SHELF_Z = 6.0


def keeper_setup(
    radius_mm, high_mm, *, shelf_mm=10.0, lip=lambda part: part, no_function=("under",), **wanted
):
    """A keeper whose lip is `high_mm` over a shelf with a fillet of `radius_mm`; `lip` changes the part."""
    stop = (
        cq.Workplane("XZ")
        .polyline([(-40, 0), (0, 0), (0, SHELF_Z), (-shelf_mm, SHELF_Z), (-shelf_mm, 20), (-40, 20)])
        .close()
        .extrude(20, both=True)
        .edges(cq.selectors.NearestToPointSelector((-shelf_mm, 0, SHELF_Z)))
        .fillet(radius_mm)
    )
    z = SHELF_Z + high_mm
    part = (
        cq.Workplane("XZ")
        .polyline([(-shelf_mm, z), (1, z), (1, 0), (40, 0), (40, 16), (-shelf_mm, 16)])
        .close()
        .extrude(15, both=True)
    )
    table = cq.Workplane().box(160, 80, 20).translate((0, 0, -10))
    wall, fillet = (-shelf_mm, 0, 15), (-shelf_mm + 0.29 * radius_mm, 0, SHELF_Z + 0.29 * radius_mm)
    return Setup(
        name="keeper",
        bodies=(
            body("table", table, role="fixture", faces={"top": ">Z"}),
            body("stop", stop, role="fixture", faces={"wall": wall, "fillet": fillet}),
            body(
                "keeper",
                lip(part),
                faces={"base": "<Z", "back": "<X", "under": (-shelf_mm / 2, 0, z)},
                no_function=no_function,
            ),
        ),
        seats=(
            Seat(body="keeper", face="base", on="table", on_face="top"),
            Seat(body="keeper", face="back", on="stop", on_face="wall", rank="secondary"),
        ),
        staging=Staging(push={"keeper": Push(direction=(-1, 0, 0))}),
        relief=Relieving(**wanted),
    )
