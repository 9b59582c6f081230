"""How dyelab refuses: one kind of error, whose message says what, where, and what to do."""

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager

_SOME = 3  # of a list that is too long
_MOST_LISTED = 12  # names that can be taken in at a glance
_MOST_LETTERS = 2000  # of a message; a damaged cell may hold a whole file


class InputError(ValueError):
    """Input that dyelab refuses; the message says what, where, and what to do."""

    def __init__(self, message: str) -> None:
        half = _MOST_LETTERS // 2
        super().__init__(
            message if len(message) <= 2 * half else f"{message[:half]} … {message[-half:]}"
        )


@contextmanager
def reading(name: str, kind: str) -> Iterator[None]:
    """Turn whatever a decoder raises over damaged bytes into one refusal.

    Decoders of other libraries raise dozens of kinds, down to `RecursionError`; which one says
    nothing to somebody whose file is broken.

    Raises
    ------
    InputError
        ``scan.tif: not a whole TIFF file (…). Copy it again, or save it anew.``

    Examples
    --------
    >>> from dyelab import errors
    >>> with errors.reading("card.jpg", "photo"):
    ...     value = 1
    >>> value
    1
    """
    try:
        yield
    except InputError:
        raise
    except Exception as error:
        said = " ".join(str(error).split())[:120] or type(error).__name__
        raise InputError(
            f"{name}: not a whole {kind} file ({said}). Copy it again, or save it anew."
        ) from error


def choose(wanted: str, options: Iterable[str], what: str, where: str = "here") -> str:
    """Return `wanted` if it is among the options, else raise with the nearest ones.

    Raises
    ------
    InputError
        ``no swatch 'alun' here. Did you mean 'alum'? Swatches: alum, iron, none.``

    Examples
    --------
    >>> from dyelab import errors
    >>> errors.choose("alum", ["alum", "iron"], "mordant")
    'alum'
    """
    known = [str(option) for option in options]
    if wanted in known:
        return wanted
    near = difflib.get_close_matches(str(wanted), known, n=3)
    guess = f" Did you mean {' or '.join(map(repr, near))}?" if near else ""
    raise InputError(f"no {what} {wanted!r} {where}.{guess}{_list(known, what)}")


def _list(known: list[str], what: str) -> str:
    """All there is, where that can be taken in; of a long list only how long it is."""
    if not known:
        return f" There are no {_plural(what).lower()} yet."
    if len(known) > _MOST_LISTED:
        some = ", ".join(known[:: len(known) // _SOME][:_SOME])
        return f" {len(known)} {_plural(what).lower()} are known, such as {some}."
    return f" {_plural(what)}: {', '.join(known)}."


def _plural(what: str) -> str:
    ending = "es" if what.endswith(("ch", "sh", "s", "x")) else "s"
    return (what + ending).capitalize()


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
    """A clause for a message, kept only where this option exists; ``{}`` stands for the option.

    Examples
    --------
    >>> from dyelab import errors
    >>> errors.offer("white", "choose the light with {}", "D65/10")
    '[[white=D65/10:choose the light with {}]]'
    """
    told = f"={value}" if value else ""
    return f"[[{option}{told}:{clause}]]"


def in_words(text: str, options: Mapping[str, str]) -> str:
    """The message with the clauses of the options that there are.

    Examples
    --------
    >>> from dyelab import errors
    >>> text = "No white. " + errors.offer("white", "Choose the light with {}.", "D65/10")
    >>> errors.in_words(text, {"white": "--white"})
    'No white. Choose the light with --white.'
    """

    def said(found: re.Match[str]) -> str:
        option, value, clause = found.groups()
        return clause.format(options[option].format(value)) if option in options else ""

    return _OFFER.sub(said, text)
