"""Cuts without function that let parts nest: found by solving, made on the solid, settled again."""
