"""One module per command: what it takes, which run it starts, what it says; nothing heavy is imported."""
