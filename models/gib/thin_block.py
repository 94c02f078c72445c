"""The gib with blocking that the wheel passes over."""

from gib import on_chuck

block_height_mm = 8.0

setup = on_chuck(block_height_mm, "gib, thin blocking")
