"""A wanted colour, however it is given, as CIELAB under a book's white."""

import re
from typing import Any

import numpy as np
import pandas as pd

from dyelab import convert, table, words
from dyelab.errors import InputError
from dyelab.predict.learned import Taught

_HEX = re.compile(r"#?[0-9a-fA-F]{6}")
_NUMBERS = re.compile(r"[-−+]?\d+(?:[.,]\d+)?")
_MUNSELL = re.compile(r"\s*(\d+(\.\d+)?\s*[A-Za-z]{1,2}\s+\d|N\s*\d)")


def colour(model: Taught, wanted: Any) -> np.ndarray:
    """CIELAB (3,) of a wanted colour, under the model's white.

    Parameters
    ----------
    model : Model
    wanted : array_like (3,), text, Series or one-row DataFrame
        L*, a*, b* under the model's white, as numbers or as text such as ``"52, 18.5, 30"``;
        ``"#a1b2c3"``; a Munsell notation such as ``"5YR 5/6"``; the code of a swatch in the
        book; or a reading (`L, a, b, illuminant, observer`), such as a photo's.

    Raises
    ------
    InputError
        If it is none of these.
    """
    if isinstance(wanted, pd.DataFrame | pd.Series):
        return _reading(model, wanted)
    if isinstance(wanted, str):
        return _text(model, wanted)
    values = np.asarray(wanted, float)
    if values.shape != (3,) or not np.isfinite(values).all() or not 0 <= values[0] <= 100:
        raise InputError(words.say("predict.not_a_colour", found=wanted))
    return values


def _text(model: Taught, text: str) -> np.ndarray:
    codes = model.made["swatch"].str.split(", ")
    named = [i for i, own in enumerate(codes) if text.strip() in own]
    if named:
        return model.made.iloc[named[0]][table.LAB].to_numpy(float)
    illuminant, observer = model.white
    if _HEX.fullmatch(text.strip()):
        name = "#" + text.strip().lstrip("#")
        return convert.screen_to_lab(name, illuminant=illuminant, observer=observer)
    if _MUNSELL.match(text):
        return convert.munsell_to_lab(text.strip(), illuminant, observer)
    parted = re.split(r"[;\s]+|,\s+|,(?=[-−\d]*\.)", text.strip())
    parts = parted if len(parted) == 3 else text.split(",")
    numbers = [part.strip() for part in parts if _NUMBERS.fullmatch(part.strip())]
    if len(numbers) != 3:
        raise InputError(words.say("predict.not_a_colour", found=text))
    return colour(model, [float(n.replace(",", ".").replace("−", "-")) for n in numbers])


def spread(model: Taught, wanted: Any) -> np.ndarray:
    """Covariance (3, 3) of a wanted colour: of a reading that has one, else nothing."""
    if not isinstance(wanted, pd.DataFrame | pd.Series):
        return np.zeros((3, 3))
    return np.nan_to_num(table.covariances(_here(model, wanted))[0])


def _reading(model: Taught, reading: pd.DataFrame | pd.Series) -> np.ndarray:
    return _here(model, reading)[table.LAB].to_numpy(float)[0]


def _here(model: Taught, reading: pd.DataFrame | pd.Series) -> pd.DataFrame:
    """A reading under the model's white."""
    frame = pd.DataFrame([dict(reading)]) if isinstance(reading, pd.Series) else reading
    table.need(frame, [*table.LAB, *table.WHITE], "wanted colour")
    if len(frame) != 1:
        raise InputError(words.say("predict.not_one", found=len(frame)))
    return convert.adapt(frame, *model.white)
