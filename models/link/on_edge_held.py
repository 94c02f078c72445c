"""The link on edge in the V-block with the magnet on: drawn down a little, held sideways by nothing."""

from dataclasses import replace

from on_edge import setup as standing

from fixturecheck import Holding

rated_pull_n_cm2 = 60.0  # of the V-block, on a bar nested in it

setup = replace(
    standing,
    name="link, on edge in the V-block, held by the magnet",
    holding=Holding(magnet="full", rated_pull_n_cm2=rated_pull_n_cm2),
)
