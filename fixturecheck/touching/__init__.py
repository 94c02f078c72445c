"""How the bodies of an assembly stand to each other, with no grinding set-up at all."""
