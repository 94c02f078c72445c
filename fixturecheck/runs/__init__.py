"""What the child process of a command runs, from file to folder."""
