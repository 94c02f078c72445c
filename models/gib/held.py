"""The gib between low blocks with the magnet on: does it hold against its cut."""

from dataclasses import replace

from gib import on_chuck

from fixturecheck import Holding

rated_pull_n_cm2 = 80.0  # of the chuck, as its maker states it
downfeed_mm = 0.01

setup = replace(
    on_chuck(8.0, "gib, held by the magnet", downfeed_mm=downfeed_mm),
    holding=Holding(magnet="full", rated_pull_n_cm2=rated_pull_n_cm2),
)
