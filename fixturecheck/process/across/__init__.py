"""What looks across the operations of a job: one module, one question; the dict lists them."""

MODULES = {
    "made": "fixturecheck.process.across.made",
    "datum": "fixturecheck.process.across.datum",
    "stock": "fixturecheck.process.across.stock",
    "burr": "fixturecheck.process.across.burr",
    "growth": "fixturecheck.process.across.growth",
    "hard": "fixturecheck.process.across.hard",
    "magnetism": "fixturecheck.process.across.magnetism",
}
