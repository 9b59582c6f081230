"""CIELAB in tables: the white-point rule and covariances."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from dyelab.errors import InputError

LAB = ["L", "a", "b"]


WHITE = ["illuminant", "observer"]


STANDARD_UNCERTAINTIES = ["u_L", "u_a", "u_b"]


COVARIANCE = ["var_L", "var_a", "var_b", "cov_La", "cov_Lb", "cov_ab"]


White = tuple[str, int]  # illuminant and observer in degrees
DEFAULT_WHITE: White = ("D65", 10)


WHITES = (("D65", 10), ("D65", 2), ("D50", 10), ("D50", 2))  # that a swatch book may have


def white_text(white: White) -> str:
    """Name a white as it is written: ``D65/10°``.

    Examples
    --------
    >>> from dyelab import table
    >>> table.white_text(("D65", 10))
    'D65/10°'
    """
    return f"{white[0]}/{white[1]}°"


def book_white(text: str) -> White:
    """White of a book from text such as ``D50/2``.

    Raises
    ------
    InputError
        If it is none of `WHITES`.

    Examples
    --------
    >>> from dyelab import table
    >>> table.book_white("D65/10")
    ('D65', 10)
    """
    named = {white_text(white): white for white in WHITES}
    wanted = text.strip().upper().rstrip("°") + "°"
    if wanted not in named:
        raise InputError(
            f"{text!r} is no white that a swatch book can have. Choose one of {', '.join(named)}."
        )
    return named[wanted]


def one_white(*tables: pd.DataFrame) -> White:
    """Return the one illuminant and observer that all rows share.

    Raises
    ------
    InputError
        If the columns are missing, or if the rows mix white points; the message gives the
        call that brings them to one.

    Examples
    --------
    >>> from dyelab import book, synth, table
    >>> bk = book.open(synth.example())
    >>> table.one_white(bk.readings)
    ('D65', 10)
    """
    seen: dict[White, None] = {}
    for frame in tables:
        missing = [name for name in WHITE if name not in frame.columns]
        if missing:
            raise InputError(
                f"no {' or '.join(missing)} column: CIELAB means nothing without its white point. "
                "Add the columns, such as illuminant D65 and observer 10."
            )
        pairs = frame[WHITE].drop_duplicates()
        seen.update(dict.fromkeys((str(i), int(o)) for i, o in pairs.itertuples(index=False)))
    if not seen:
        return DEFAULT_WHITE
    if len(seen) > 1:
        names = [white_text(white) for white in seen]
        raise InputError(
            f"can't compare {' with '.join(names)}. Bring both to one white: "
            f'convert.adapt(table, "{next(iter(seen))[0]}", {next(iter(seen))[1]}).'
        )
    return next(iter(seen))


def need(frame: pd.DataFrame, columns: Sequence[str], what: str) -> None:
    """Raise unless the frame has all these columns.

    Raises
    ------
    InputError
        Names the missing columns, those found, and what they are for; or says that it is no table.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import table
    >>> table.need(pd.DataFrame({"L": [50.0]}), ["L"], "a comparison")
    """
    if not isinstance(frame, pd.DataFrame):
        raise InputError(
            f"{what}: a {type(frame).__name__} is no table. Give a DataFrame; of a book, "
            "book.wide(bk)."
        )
    missing = [name for name in columns if name not in frame.columns]
    if missing:
        raise InputError(
            f"{what}: no column {', '.join(missing)}. Found: {', '.join(map(str, frame.columns))}. "
            f"Needed: {', '.join(columns)}."
        )


def covariances(frame: pd.DataFrame) -> np.ndarray:
    """Covariance of each row's L*, a*, b*.

    Parameters
    ----------
    frame : DataFrame
        With the six columns of `COVARIANCE`, or with `u_L, u_a, u_b` (standard uncertainties,
        taken as independent). Blank means not known.

    Returns
    -------
    ndarray, shape (n, 3, 3)
        NaN where not known.

    Examples
    --------
    >>> from dyelab import book, synth, table
    >>> bk = book.open(synth.example())
    >>> table.covariances(bk.readings.head(2)).shape
    (2, 3, 3)
    """
    if set(COVARIANCE) <= set(frame.columns):
        LL, aa, bb, La, Lb, ab = frame[COVARIANCE].to_numpy(float).T
        La, Lb, ab = (np.where(np.isnan(LL), np.nan, np.nan_to_num(x)) for x in (La, Lb, ab))
        return np.stack([LL, La, Lb, La, aa, ab, Lb, ab, bb], axis=-1).reshape(-1, 3, 3)
    if set(STANDARD_UNCERTAINTIES) <= set(frame.columns):
        u = frame[STANDARD_UNCERTAINTIES].to_numpy(float)
        return (u**2)[:, :, None] * np.eye(3)
    return np.full((len(frame), 3, 3), np.nan)


def with_covariances(frame: pd.DataFrame, matrices: np.ndarray) -> pd.DataFrame:
    """Return the table with its six covariance columns set from (n, 3, 3) matrices.

    Examples
    --------
    >>> import numpy as np
    >>> import pandas as pd
    >>> from dyelab import table
    >>> frame = table.with_covariances(pd.DataFrame({"L": [50.0]}), np.eye(3)[None])
    >>> frame["var_L"].tolist()
    [1.0]
    """
    m = np.asarray(matrices, float)
    terms = [m[:, 0, 0], m[:, 1, 1], m[:, 2, 2], m[:, 0, 1], m[:, 0, 2], m[:, 1, 2]]
    return frame.assign(**dict(zip(COVARIANCE, terms, strict=True)))


def with_uncertainties(frame: pd.DataFrame, matrices: np.ndarray) -> pd.DataFrame:
    """Return the table with `u_L, u_a, u_b`, the roots of (n, 3, 3) matrices' variances.

    Examples
    --------
    >>> import numpy as np
    >>> import pandas as pd
    >>> from dyelab import table
    >>> table.with_uncertainties(pd.DataFrame({"swatch": ["K1"]}), np.eye(3)[None] * 0.25)
      swatch  u_L  u_a  u_b
    0     K1  0.5  0.5  0.5
    """
    roots = np.sqrt(np.maximum(np.diagonal(matrices, axis1=1, axis2=2), 0))
    return frame.assign(**dict(zip(STANDARD_UNCERTAINTIES, roots.T, strict=True)))
