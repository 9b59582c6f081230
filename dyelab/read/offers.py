"""Remedies in messages: only those that exist where the file was read."""

import re
from collections.abc import Mapping

# Whoever calls from Python has these; a command or panel gives its own words, or none.
PYTHON = {
    "white": 'illuminant="D50", observer=2',
    "scale": 'scale="percent"',
    "skip_bad": "skip_bad=True",
    "sheet": 'sheet="{}"',
    "reading": 'geometry="{}"',
}
_OFFER = re.compile(r"\[\[(\w+)(?:=([^:\]]*))?:(.*?)\]\]")


def offer(option: str, clause: str, value: str = "") -> str:
    """A clause for a message, kept only where this option exists; ``{}`` stands for the option."""
    told = f"={value}" if value else ""
    return f"[[{option}{told}:{clause}]]"


def worded(text: str, options: Mapping[str, str]) -> str:
    """The message with the clauses of the options that there are."""

    def said(found: re.Match[str]) -> str:
        option, value, clause = found.groups()
        return clause.format(options[option].format(value)) if option in options else ""

    return _OFFER.sub(said, text)
