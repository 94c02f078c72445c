"""Where the wheel goes, and what it leaves."""
