"""The one door to colour-science, opened late because importing it takes two seconds."""

import warnings
from functools import cache
from typing import Any


@cache
def library() -> Any:
    """Return the colour-science package, its notes about optional extras silenced."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour
