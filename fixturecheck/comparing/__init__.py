"""Two results held together: what got better or worse, and what of the set-up and the solids changed."""
