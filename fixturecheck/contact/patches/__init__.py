"""Contact of solids at the drawn pose: patches of area, line and point, with their gaps."""
