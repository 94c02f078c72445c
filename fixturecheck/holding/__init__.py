"""Does it hold: from the solids, the magnet, clamps and cuts to a factor, and to what happens below it."""
