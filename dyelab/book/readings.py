"""Readings of an instrument into a book: which swatch, after what, and how sure."""

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd

from dyelab import convert, table
from dyelab.book.model import Book
from dyelab.book.opening import add
from dyelab.errors import InputError

UNSTATED = 0.3  # CIELAB units a coordinate: a handheld laid anew on cloth, by custom of the trade
_INSTRUMENTS = ("spectral", "colorimeter")
_FEW = 3  # degrees of freedom below which repeats say too little


def instrument_readings(
    bk: Book,
    lab: pd.DataFrame | None,
    spectra: pd.DataFrame | None,
    *,
    names: Mapping[str, str] | None = None,
    method: str = "spectral",
    exposure: str = "none",
    amount: float | None = None,
    unit: str = "",
    repeat: float | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame | None, pd.DataFrame]:
    """Make rows for a book of what an instrument read.

    Parameters
    ----------
    bk : Book
    lab, spectra : DataFrame or None
        As `read.measurements` gives them; reflectance factors.
    names : mapping of str to str, optional
        Swatch of a sample, where its name isn't the swatch's code.
    method : str
        One of `table.METHODS`. Spectra are always ``spectral``.
    exposure, amount, unit
        As in `table.READINGS`; the same for all.
    repeat : float, optional
        Standard uncertainty of one reading, CIELAB units, each coordinate. By default what
        samples read several times show, pooled; without such, `UNSTATED`.

    Returns
    -------
    readings : DataFrame
        `table.READINGS` rows of samples that are swatches of the book, under its white.
    spectra : DataFrame or None
        `reading` and one column a wavelength.
    left : DataFrame
        `sample`, `L`, `a`, `b` of those that are no swatch of this book.

    Notes
    -----
    Spectra are computed under the book's white; CIELAB under another is adapted by CAT16, an
    estimate, and flagged ``adapted``.
    """
    found = pd.concat(_coloured(lab, spectra, method, bk.white), ignore_index=True)
    known = {str(code).casefold(): code for code in bk.swatches["swatch"]}
    given = {sample.strip(): swatch.strip() for sample, swatch in (names or {}).items()}
    called = [given.get(str(s).strip(), str(s).strip()) for s in found["sample"]]
    found["swatch"] = [known.get(name.casefold(), "") for name in called]
    left = found.loc[found["swatch"] == "", ["sample", *table.LAB]].reset_index(drop=True)
    rows = found[found["swatch"] != ""].reset_index(drop=True)
    covariance = _covariance(rows, repeat)
    rows = table.with_covariances(rows, np.broadcast_to(covariance, (len(rows), 3, 3)))
    rows["reading"] = _labels(bk, rows, exposure, amount)
    rows = rows.assign(
        part="swatch",
        area="whole",
        exposure=exposure,
        amount=np.nan if amount is None else amount,
        unit=unit,
        test="",
        n=1,
        taken_at="",
    )
    bands = [name for name in rows.columns if str(name).isdigit()]
    whole = rows[bands].notna().any(axis=1)
    spectral = rows.loc[whole, ["reading", *bands]] if whole.any() else None
    return rows[table.READINGS.names], spectral, left


def add_readings(bk: Book, readings: pd.DataFrame, spectra: pd.DataFrame | None) -> Book:
    """Add such rows to a book.

    Raises
    ------
    InputError
        If there are none, or one breaks a rule.
    """
    if readings.empty:
        raise InputError(
            "no sample here is a swatch of this book, so nothing was added. Say which is which, "
            "such as: 001 = W07."
        )
    return add(bk, readings=readings, spectra=spectra)


def read_by_instrument(
    bk: Book, exposure: str = "none", amount: float | None = None, unit: str = ""
) -> pd.DataFrame:
    """Swatches that an instrument read after such an exposure, with the mean of its readings.

    Parameters
    ----------
    bk : Book
    exposure, amount, unit
        As in `table.READINGS`.

    Returns
    -------
    DataFrame
        `swatch`, `L`, `a`, `b` under the book's white; other whites are adapted by CAT16.
    """
    rows = bk.readings
    kept = rows["method"].isin(_INSTRUMENTS) & (rows["part"] == "swatch")
    kept &= (rows["area"] == "whole") & (rows["exposure"] == exposure)
    if exposure != "none":
        kept &= (rows["amount"] == amount) & (rows["unit"] == unit)
    rows = rows[kept]
    if rows.empty:
        return pd.DataFrame(columns=["swatch", *table.LAB])
    adapted = convert.adapt(rows, *bk.white)
    return adapted.groupby("swatch", sort=False)[table.LAB].mean().reset_index()


def _coloured(
    lab: pd.DataFrame | None,
    spectra: pd.DataFrame | None,
    method: str,
    white: tuple[str, int],
) -> list[pd.DataFrame]:
    parts = []
    if spectra is not None and len(spectra):
        bands = convert.wavelength_columns(spectra)
        made = convert.spectra_to_lab(spectra, *white)
        flag = "ends" if convert.missing_ends([float(band) for band in bands]) else ""
        parts.append(made.assign(method="spectral", flags=flag, **spectra[bands]))
    if lab is not None and len(lab):
        made = convert.adapt(lab, *white)
        parts.append(made.assign(method=method))
    if not parts:
        raise InputError("nothing was read: the file holds no spectra and no CIELAB values.")
    columns = ["geometry", "flags"]
    return [part.assign(**{c: part.get(c, "") for c in columns}) for part in parts]


def _covariance(rows: pd.DataFrame, repeat: float | None) -> np.ndarray:
    """Of one reading: as stated, else pooled over samples read more than once, else the custom."""
    if repeat is not None:
        return repeat**2 * np.eye(3)
    values, groups = rows[table.LAB].to_numpy(float), rows["swatch"]
    rest = values - rows.groupby("swatch")[table.LAB].transform("mean").to_numpy(float)
    freedom = len(rows) - groups.nunique()
    if freedom < _FEW:
        return UNSTATED**2 * np.eye(3)
    return rest.T @ rest / freedom


def _labels(bk: Book, rows: pd.DataFrame, exposure: str, amount: float | None) -> list[str]:
    """A name for each reading that the book doesn't hold yet."""
    taken, made = set(bk.readings["reading"]), []
    after = "" if exposure == "none" else f"-{exposure.replace(' ', '-')}"
    after += "" if exposure == "none" or amount is None else f"{amount:g}"
    for swatch, source in zip(rows["swatch"], rows["source"], strict=True):
        stem = f"{swatch}{after}-{Path(str(source)).stem[:20]}"
        number = 1
        while (name := stem if number == 1 else f"{stem}-{number}") in taken:
            number += 1
        taken.add(name)
        made.append(name)
    return made
