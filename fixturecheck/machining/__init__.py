"""What machining does: where the wheel goes, what it leaves, and the forces of grinding and milling."""
