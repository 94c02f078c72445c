"""What to change, found by solving and verified by checking again."""
