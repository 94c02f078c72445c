"""STEP files in and out."""
