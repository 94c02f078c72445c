"""Pure numbers: nothing here knows what a solid is."""
