"""Write the JSON Schemas of TOML files, made of the data classes that read them, where they ship."""

from __future__ import annotations

import sys

from fixturecheck.schemas import SCHEMAS, schema_text, shipped


def main() -> int:
    """Write every schema."""
    for name, make in SCHEMAS.items():
        shipped(name).write_text(schema_text(make()), encoding="utf-8")
        print(shipped(name))
    return 0


if __name__ == "__main__":
    sys.exit(main())
