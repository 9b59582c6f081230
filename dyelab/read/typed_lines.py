"""Values typed in or pasted: a line a reading, as they stand on a handheld colorimeter."""

import re

import pandas as pd

from dyelab.errors import InputError
from dyelab.table import number as number_in
from dyelab.table import with_exposure

_AFTER = re.compile(r"(.*?)\s*\bafter\s+([\d.,]+)\s*([A-Za-z][A-Za-z ]*?)\s*:?", re.I)
_SAYS = "Write the swatch, then L*, a*, b*, such as: W07 45.2 12.3 -4.1"


def typed_lines(text: str, *, illuminant: str, observer: int) -> pd.DataFrame:
    """Read lines of a name and three numbers.

    Parameters
    ----------
    text : str
        Such as ``W07 45.2 12.3 -4.1``, parted by spaces, tabs, semicolons or commas with a space
        behind; decimal commas are understood, and a colon behind the name. Blank lines are
        skipped. A line without a name is another reading of the one above it. ``W07 after 0.3 Mlx
        h 45.9 11.8 -3.7`` says what came before the reading.
    illuminant : str
    observer : int
        White point the instrument was set to.

    Returns
    -------
    DataFrame
        `sample, L, a, b, illuminant, observer, source`, as `Measurements.lab`; with
        `table.EXPOSURE` where a line says so.

    Raises
    ------
    InputError
        For a line that isn't so, with its number.

    Examples
    --------
    >>> from dyelab import read
    >>> found = read.typed_lines("W07 45.2 12.3 -4.1", illuminant="D65", observer=10)
    >>> found[["sample", "L", "a", "b"]]
      sample     L     a    b
    0    W07  45.2  12.3 -4.1
    """
    rows: list[dict[str, object]] = []
    for number, line in enumerate(text.splitlines(), start=1):
        if line.strip():
            name, numbers = _part(line, number)
            name, after = _after(name)
            if not name and not rows:
                raise InputError(
                    f"typed values, line {number}: {line.strip()!r} names no swatch. {_SAYS}"
                )
            sample = name or rows[-1]["sample"]
            rows.append({"sample": sample, **dict(zip("Lab", numbers, strict=True)), **after})
    if not rows:
        raise InputError(f"typed values: nothing is written yet. {_SAYS}")
    made = pd.DataFrame(rows).assign(illuminant=illuminant, observer=observer, source="typed")
    return with_exposure(made, "typed values,")


def _after(name: str) -> tuple[str, dict[str, str]]:
    """The swatch's name, and what it was read after: ``W07 after 5 washes``."""
    found = _AFTER.fullmatch(name)
    if not found:
        return name, {}
    return found[1].strip(), {"amount": found[2], "unit": found[3]}


def _part(line: str, number: int) -> tuple[str, list[float]]:
    parts = [part for part in re.split(r"(?:,(?=\s)|[;\s])+", line.strip().strip(";")) if part]
    name, values = " ".join(parts[:-3]).rstrip(" :="), parts[-3:]
    try:
        numbers = [number_in(value, most=160) for value in values]
    except InputError:
        numbers = []
    if len(numbers) != 3:
        raise InputError(
            f"typed values, line {number}: {line.strip()!r} doesn't end in three numbers. {_SAYS}"
        )
    limits = ((0, 100), (-160, 160), (-160, 160))
    for axis, value, (low, high) in zip("Lab", numbers, limits, strict=True):
        if not low <= value <= high:
            raise InputError(
                f"typed values, line {number}: {axis}* is {value:g}, expected {low} to {high}. "
                "Are these CIELAB values?"
            )
    return name, numbers
