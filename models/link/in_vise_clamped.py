"""The link in the toolmaker's vise, with the torque on the screw stated: does the vise hold it."""

from dataclasses import replace

from in_vise import setup as unclamped

from fixturecheck import Clamp, Holding

torque_nm = 12.0  # on the handle of the vise

setup = replace(
    unclamped,
    name="link, clamped in the vise",
    holding=Holding(
        friction="ground_steel",
        clamps=(Clamp(name="screw", kind="vise", body="vise_jaw", face="moving_jaw", torque_nm=torque_nm),),
    ),
)
