"""The magnet: its field in steel and air, its source, and how hard it pulls."""
