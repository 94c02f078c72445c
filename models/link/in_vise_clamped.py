"""The link in the toolmaker's vise, with the torque on the screw stated: does the vise hold it."""

from in_vise import setup as unclamped

from fixturecheck import Clamp, Holding, Setup

torque_nm = 12.0  # on the handle of the vise

setup = Setup(
    name="link, clamped in the vise",
    bodies=unclamped.bodies,
    seats=unclamped.seats,
    cuts=unclamped.cuts,
    machine=unclamped.machine,
    wheel=unclamped.wheel,
    holding=Holding(
        friction="ground_steel",
        clamps=(Clamp(name="screw", kind="vise", body="vise_jaw", face="moving_jaw", torque_nm=torque_nm),),
    ),
)
