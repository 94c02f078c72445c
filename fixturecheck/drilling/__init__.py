"""Drilled and tapped holes in pure numbers, and the threads there are."""
