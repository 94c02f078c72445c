"""fixturecheck: checks a surface-grinding set-up from its solids, before anything is cut.

Importing the package loads neither the kernel nor the renderer. The public names, and the module that each
comes from, are stated once in `__init__.pyi`; a name is fetched on first use.
"""

from __future__ import annotations

from pathlib import Path

import lazy_loader

__version__ = "0.1.0"

__getattr__, __dir__, _public = lazy_loader.attach_stub(__name__, __file__)
# A star import brings no modules: one of ours bears the name that scripts give to CadQuery.
__all__ = [name for name in _public if not Path(__file__).with_name(f"{name}.py").is_file()]
