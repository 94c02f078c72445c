"""What is near at any pose: the candidates for contact that settling works with, and penetration."""
