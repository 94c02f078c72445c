"""A study: one set-up in many variants, where it is go, and how far each parameter can go."""
