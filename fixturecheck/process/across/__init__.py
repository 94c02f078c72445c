"""What looks across the operations of a job: one module, one question; the dict lists them."""

MODULES = {
    name: f"{__name__}.{name}" for name in ("made", "datum", "stock", "burr", "growth", "hard", "magnetism")
}
