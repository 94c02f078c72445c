"""The set-up in three dimensions on the page: its data, its controls and the script that draws it."""
