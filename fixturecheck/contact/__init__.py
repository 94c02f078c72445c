"""Where solids touch and where they nearly do."""
