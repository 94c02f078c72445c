"""The sheet that lies at the machine: one PDF and the same as a page, a page or two for each operation."""
