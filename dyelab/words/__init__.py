"""Every text that a panel or a page shows, in one place and ready for translation.

The texts are TOML files, one a topic, in a folder a language: ``words/en/metals.toml`` holds
``title = "Iron and copper"``, said as ``words.say("metals.title")``.
"""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

_HERE = Path(__file__).parent


def say(key: str, language: str = "en", **values: Any) -> str:
    """Return the text of a key such as ``metals.title``, with its {blanks} filled in.

    Raises
    ------
    KeyError
        If the topic or the key is not there; a test says every key used exists.
    """
    topic, _, name = key.partition(".")
    text = _topic(topic, language)[name]
    return text.format(**values) if values else text


def there(key: str, language: str = "en") -> bool:
    """Whether a key has a text."""
    topic, _, name = key.partition(".")
    return name in _topic(topic, language)


def heading(column: str, language: str = "en") -> str:
    """Return a table column's name as a reader knows it; an unknown one loses its underscores."""
    texts = _topic("columns", language)
    if column.endswith("_wof") and column not in texts:
        return texts["metal_wof"].format(metal=column.removesuffix("_wof"))
    return texts.get(column, column.replace("_", " "))


@cache
def _topic(topic: str, language: str) -> dict[str, str]:
    return tomllib.loads((_HERE / language / f"{topic}.toml").read_text(encoding="utf-8"))
