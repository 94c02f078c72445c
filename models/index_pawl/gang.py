"""Four index pawls nested in a magnetic V-block; both revisions are ground this way."""

from dataclasses import replace

from pawl import FACES, PITCH

from fixturecheck import Cut, Machine, Push, Seat, Setup, Staging, Wheel, body, equipment, place

WHEEL = Wheel(  # a dish wheel: its hollow side may grind the wall
    shape="12",
    diameter_mm=150.0,
    thickness_mm=16.0,
    bore_mm=31.75,
    rim_mm=6.0,
    bore_wall_mm=9.0,
    small_diameter_mm=84.0,
    edge_mm=6.0,
    corner_radius_mm=0.3,
)


def gang(drawn, name: str, count: int = 4) -> Setup:
    """Return the set-up for a drawn pawl."""
    vee = equipment(
        "magnetic_v_block",
        name="vee",
        at=(30, 0, 0),
        length_mm=120.0,
        width_mm=50.0,
        height_mm=40.0,
        land_mm=16.0,
    )
    stop = equipment(
        "blocking_block", name="stop", at=(-10, -12, 9), length_mm=20.0, width_mm=18.0, height_mm=5.0
    )
    names = [f"pawl_{n + 1}" for n in range(count)]
    pawls = [
        body(
            pawl,
            drawn,
            at=place(at=(n * PITCH, 0, 0)),
            material="tool_steel_a2",
            faces=FACES,
            finish="ground",
            no_function={"under"},
        )
        for n, pawl in enumerate(names)
    ]
    seats = []
    for before, pawl in zip([None, *names[:-1]], names, strict=True):
        seats.append(Seat(body=pawl, face="left_seat", on="vee_left", on_face="left_flank", rank="primary"))
        seats.append(
            Seat(body=pawl, face="right_seat", on="vee_right", on_face="right_flank", rank="secondary")
        )
        if before:
            seats.append(Seat(body=pawl, face="back", on=before, on_face="nest", rank="nest"))
        else:
            seats.append(
                Seat(body=pawl, face="back", on="stop", on_face="plus_x", rank="stop", min_share=0.1)
            )
    corner = Cut(
        name="corner",
        parts=tuple(names),
        floor="floor",
        wall="wall",
        stock_mm=0.2,
        wall_stock_mm=0.1,
        way="traverse",
        cross_feed_mm=2.0,
    )
    return Setup(
        name=name,
        bodies=(*vee, *stop, *pawls),
        seats=tuple(seats),
        cuts=(corner,),
        machine=Machine(table_z_mm=-31.0),
        wheel=WHEEL,
    )


def staged(setup: Setup) -> Setup:
    """Return the set-up with each pawl pushed toward the stop by hand, one after the other."""
    order = tuple(b.name for b in setup.parts())
    toward_stop = Push(direction=(-1, 0, 0))
    return replace(setup, staging=Staging(push={"*": toward_stop}, order=order))
