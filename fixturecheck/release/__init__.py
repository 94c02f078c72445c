"""How bodies come off after the cut."""
