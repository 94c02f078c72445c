"""Where the dials are zeroed, what they read at the targets, and how long a batch takes."""
