"""What the user states: the set-up, its bodies, seats, cuts and machine, and the ways to read it."""
