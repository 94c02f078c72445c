"""Angles from lengths, in pure numbers: gauge blocks, sine bars, angle blocks, rolls."""
