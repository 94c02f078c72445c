"""The gib with blocking that stands higher than the face to be ground."""

from gib import on_chuck

block_height_mm = 12.0

setup = on_chuck(block_height_mm, "gib, thick blocking")
