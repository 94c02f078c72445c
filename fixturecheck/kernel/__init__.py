"""The only package that talks to the geometry kernel; everything it returns is in millimetres."""
