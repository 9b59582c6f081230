"""What a kernel that waits for a page does meanwhile: import every panel and pack the drawings'
program. It is loaded as an extension of the kernel's shell.
"""

import pkgutil
from importlib import import_module
from typing import Any

from dyelab import panel


def load_ipython_extension(_shell: Any) -> None:
    """Import all that pages import."""
    for found in pkgutil.iter_modules(panel.__path__):
        import_module(f"dyelab.panel.{found.name}")
    import_module("dyelab.panel.widgets")._plotly()
