"""What a mordant does to a natural dye, in measured colour.

The modules are loaded when first used, so that ``import dyelab`` costs nothing.
"""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

MODULES = (
    "book",
    "calibrate",
    "card",
    "compare",
    "convert",
    "grade",
    "handout",
    "measure",
    "panel",
    "plan",
    "plot",
    "predict",
    "read",
    "recipe",
    "shift",
    "synth",
    "table",
)

__all__ = ["MODULES", "__version__"]


def __getattr__(name: str) -> Any:
    if name in MODULES:
        return import_module(f"dyelab.{name}")
    raise AttributeError(f"dyelab has no module {name!r}. Modules: {', '.join(MODULES)}.")


def __dir__() -> list[str]:
    return [*__all__, *MODULES]
