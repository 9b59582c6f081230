"""Readings of an instrument into a book: which swatch, after what, how read, and how sure."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from dyelab import convert, table
from dyelab.book.opening import add, change
from dyelab.book.swatch_book import Book
from dyelab.book.views import locate, part_of
from dyelab.errors import InputError

_Table: TypeAlias = pd.DataFrame | None
UNSTATED = 0.3  # CIELAB units a coordinate: a handheld laid anew on cloth, by custom of the trade
_INSTRUMENTS = ("spectral", "colorimeter")
_FEW = 3  # degrees of freedom below which repeats say too little
# Repeats of cloths about this far off in L* tell of one another's spread (dark shades repeat
# worse); all repeats together count for so many degrees of freedom beside them. From 8 to 20 and
# from 1 to 4 the stated spread is about as wrong (tests/benchmarks/repeat_spread.py).
ALIKE, ALL = 12.0, 4.0
_GLOW = 1.0  # ΔE*ab: over three times what a handheld repeats to


@dataclass(frozen=True)
class InstrumentReadings:
    """What an instrument read, as rows for a book.

    Attributes
    ----------
    readings : DataFrame
        `table.READINGS` rows of samples that are swatches of the book, under its white.
    spectra : DataFrame or None
        `reading` and one column a wavelength.
    shared : DataFrame
        `table.SHARED` rows: the error of adapting, which all swatches of one recipe share.
    left : DataFrame
        `sample`, `L`, `a`, `b` of those that are no swatch of this book.
    """

    readings: pd.DataFrame
    spectra: pd.DataFrame | None
    shared: pd.DataFrame
    left: pd.DataFrame


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
    adapt: bool = False,
    conditions: Mapping[str, object] | None = None,
) -> InstrumentReadings:
    """Make rows for a book of what an instrument read.

    Parameters
    ----------
    bk : Book
    lab, spectra : DataFrame or None
        As `read.measurements` gives them; reflectance factors.
    names : mapping of str to str, optional
        Swatch of a sample, where its name isn't the swatch's code; ``P-01 leaf`` is an area.
    method : str
        One of `table.METHODS`. Spectra are always ``spectral``.
    exposure, amount, unit
        As in `table.READINGS`, for the rows that don't say so themselves: a table with columns
        `table.exposure_columns` knows brings a whole series, such as many light doses, at once.
    repeat : float, optional
        Standard uncertainty of one reading, CIELAB units, each coordinate. By default what
        samples read several times show, those of about its lightness above all; without such,
        `UNSTATED`.
    adapt : bool
        Whether CIELAB under another white than the book's may be adapted to it. Such values are
        flagged ``adapted`` and carry the error that adapting has on dyed cloth.
    conditions : mapping, optional
        Of `table.CONDITIONS`, where the file doesn't state them.

    Raises
    ------
    InputError
        If nothing was read, a sample is a printed cloth and its area isn't named, CIELAB stands
        under another white and `adapt` is off, or a row has an amount but nothing says of what.

    Examples
    --------
    >>> from dyelab import book, read, synth
    >>> bk = book.open(synth.example())
    >>> lab = read.typed_lines("W01 45.2 12.3 4.1", illuminant="D65", observer=10)
    >>> made = book.instrument_readings(bk, lab, None, method="typed")
    >>> made.readings[["swatch", "L", "a", "b"]]
      swatch     L     a    b
    0    W01  45.2  12.3  4.1
    """
    found = pd.concat(_colour_rows(lab, spectra, method, bk.white, adapt), ignore_index=True)
    found = _with_conditions(found, conditions or {})
    given = {sample.strip(): swatch.strip() for sample, swatch in (names or {}).items()}
    called = [given.get(str(s).strip(), str(s).strip()) for s in found["sample"]]
    there = locate(bk, called)
    found["swatch"] = [there.get(name, ("", ""))[0] for name in called]
    found["area"] = [there.get(name, ("", "whole"))[1] for name in called]
    left = found.loc[found["swatch"] == "", ["sample", *table.LAB]].reset_index(drop=True)
    rows = found[found["swatch"] != ""].reset_index(drop=True)
    rows["flags"] = _glow_flags(bk, rows, exposure)
    error = rows[[*_ERROR]].to_numpy(float).reshape(-1, 3, 3)
    rows = table.with_covariances(rows, repeatability(rows, repeat) + error)
    rows = _after(rows, exposure, np.nan if amount is None else amount, unit)
    rows["reading"] = _labels(bk, rows)
    rows = rows.assign(part="swatch", test="", n=1, taken_at="")
    bands = [name for name in rows.columns if str(name).isdigit()]
    whole = rows[bands].notna().any(axis=1)
    spectral = rows.loc[whole, ["reading", *bands]] if whole.any() else None
    shared = shared_by_adapting(rows, error)
    return InstrumentReadings(rows[table.READINGS.names], spectral, shared, left)


def enter(bk: Book, names: Iterable[str]) -> Book:
    """Enter names that a book doesn't know, before readings of them are added.

    Parameters
    ----------
    bk : Book
    names : iterable of str
        As `locate` takes them. Of a printed cloth, such as ``P-01 sky``, the rest becomes an
        area with nothing put on it of its own; every other name a swatch.

    Raises
    ------
    InputError
        For the bare code of a cloth with areas, or a slip in the name of one of them.

    Examples
    --------
    >>> from dyelab import book, plan
    >>> areas = {"leaf": "aluminium acetate 5"}
    >>> bk = book.add(book.create(folder / "b"), **plan.printed_cloth("P-01", areas))
    >>> bk = book.enter(bk, ["P-01 sky", "K-01"])
    >>> book.named_areas(bk), list(bk.swatches["swatch"])
    ({'P-01': ['leaf', 'sky']}, ['P-01', 'K-01'])
    """
    names = list(names)
    there = locate(bk, names)
    for name in dict.fromkeys(name for name in names if name not in there):
        code, area = part_of(bk, name)
        if not code:
            bk = add(bk, swatches=pd.DataFrame({"swatch": [name.strip()]}))
            continue
        row = bk.swatches[bk.swatches["swatch"] == code]
        listed = "; ".join(filter(None, [row["bare_areas"].iloc[0], area]))
        bk = change(bk, swatches=row.assign(bare_areas=listed))
    return bk


def add_readings(bk: Book, made: InstrumentReadings) -> Book:
    """Add such rows to a book.

    Raises
    ------
    InputError
        If there are none, or one breaks a rule.

    Examples
    --------
    >>> from dyelab import book, read, synth
    >>> bk = book.open(synth.example())
    >>> lab = read.typed_lines("W01 45.2 12.3 4.1", illuminant="D65", observer=10)
    >>> made = book.instrument_readings(bk, lab, None, method="typed")
    >>> len(book.add_readings(bk, made).readings) - len(bk.readings)
    1
    """
    if made.readings.empty:
        raise InputError(
            "no sample here is a swatch of this book, so nothing was added. Say which is which, "
            "such as: 001 = W07."
        )
    shared = made.shared if len(made.shared) else None
    return add(bk, readings=made.readings, spectra=made.spectra, shared=shared)


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
        `swatch`, `L`, `a`, `b` under the book's white; what was adapted to it is left out.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> book.read_by_instrument(bk)[["L", "a", "b"]].head(2).round(1)
          L     a     b
    0  69.0  17.3  26.0
    1  48.4  37.5  18.1
    """
    rows = bk.readings
    kept = rows["method"].isin(_INSTRUMENTS) & (rows["part"] == "swatch")
    kept &= (rows["area"] == "whole") & (rows["exposure"] == exposure)
    kept &= ~rows["flags"].str.split().map(lambda words: "adapted" in words)
    kept &= (rows["illuminant"] == bk.white[0]) & (rows["observer"] == bk.white[1])
    if exposure != "none":
        kept &= (rows["amount"] == amount) & (rows["unit"] == unit)
    if not kept.any():
        return pd.DataFrame(columns=["swatch", *table.LAB])
    return rows[kept].groupby("swatch", sort=False)[table.LAB].mean().reset_index()


_ERROR = [f"error {row}{column}" for row in table.LAB for column in table.LAB]


def _colour_rows(
    lab: _Table, spectra: _Table, method: str, white: table.White, adapt: bool
) -> list[pd.DataFrame]:
    parts = []
    if spectra is not None and len(spectra):
        bands = convert.wavelength_columns(spectra)
        made = convert.spectra_to_lab(spectra, *white)
        ends = convert.missing_ends([float(band) for band in bands])
        bright = convert.is_brightened(spectra[bands].to_numpy(float))
        flags = [" ".join([*["ends"] * ends, *["fluorescent"] * bool(one)]) for one in bright]
        parts.append(made.assign(method="spectral", flags=flags, **spectra[bands]))
    if lab is not None and len(lab):
        parts.append(_under(lab, white, adapt).assign(method=method))
    if not parts:
        raise InputError("nothing was read: the file holds no spectra and no CIELAB values.")
    return [part.assign(**{c: part.get(c, 0.0) for c in _ERROR}) for part in parts]


def _glow_flags(bk: Book, rows: pd.DataFrame, exposure: str) -> list[str]:
    """Flags of each row, ``fluorescent`` added where ultraviolet in the lamp changes the colour.

    A cloth read with ultraviolet cut off (M2) and with it (M0, M1) differs by more than two
    readings do only if it shines by it.
    """
    before = bk.readings[bk.readings["exposure"] == exposure]
    columns = ["swatch", "m_condition", *table.LAB]
    every = pd.concat([before[columns], rows[columns]], ignore_index=True)
    cut = every["m_condition"] == "M2"
    lit = every["m_condition"].isin(["M0", "M1"])
    ends = [every[k].groupby("swatch")[table.LAB].mean().astype(float) for k in (cut, lit)]
    apart = ((ends[0] - ends[1]) ** 2).sum(axis=1, min_count=3) ** 0.5
    glow = set(apart.index[apart > _GLOW])
    more = [["fluorescent"] * (code in glow) for code in rows["swatch"]]
    both = zip(rows["flags"], more, strict=True)
    return [" ".join(dict.fromkeys([*str(flags).split(), *shines])) for flags, shines in both]


def _under(lab: pd.DataFrame, white: table.White, adapt: bool) -> pd.DataFrame:
    """CIELAB under the book's white: as it is, or adapted where that was asked for."""
    lab = lab.assign(flags=lab["flags"].fillna("") if "flags" in lab else "")
    other = ~((lab["illuminant"] == white[0]) & (lab["observer"].astype(int) == white[1]))
    if not other.any():
        return lab
    row = lab[other].iloc[0]
    theirs = str(row["illuminant"]), int(row["observer"])
    if not adapt:
        raise InputError(
            f"{row.get('source', '')}: {row['sample']} is CIELAB under "
            f"{table.white_text(theirs)}, and this book's colours stand under "
            f"{table.white_text(white)}. Read spectra, set the instrument to "
            f"{table.white_text(white)}, or begin a book under {table.white_text(theirs)}. Else "
            "ask for them to be adapted (adapt=True; a tick in the panel): an estimate that is "
            "wrong by 1 to 5 on dyed cloth."
        )
    moved, error = adapt_readings(lab, white)
    columns = dict(zip(_ERROR, error.reshape(-1, 9).T, strict=True))
    return moved.assign(**columns, adapted_from=table.white_text(theirs))


def adapt_readings(lab: pd.DataFrame, white: table.White) -> tuple[pd.DataFrame, np.ndarray]:
    """Rows brought to a white, without their stated spread, and what that errs by (n, 3, 3)."""
    stated = [*table.COVARIANCE, *table.STANDARD_UNCERTAINTIES]
    moved = convert.adapt(lab.drop(columns=stated, errors="ignore"), *white)
    return moved.drop(columns=table.COVARIANCE), np.nan_to_num(table.covariances(moved))


def _with_conditions(found: pd.DataFrame, given: Mapping[str, object]) -> pd.DataFrame:
    """The readings with all of `table.CONDITIONS`: as stated, else as given, else blank."""
    for name, blank in table.NOT_STATED.items():
        cells = found[name] if name in found else pd.Series(np.nan, index=found.index)
        there = cells.notna() & (cells.astype(str).str.strip() != "")
        found = found.assign(**{name: cells.astype(object).where(there, given.get(name) or blank)})
    return found


def shared_by_adapting(rows: pd.DataFrame, error: np.ndarray) -> pd.DataFrame:
    """Rows of scope ``recipe`` for the error of adapting: another piece doesn't average it out."""
    made = []
    for i in np.flatnonzero(error[:, 0, 0] > 0):
        source = f"adapted from {rows['adapted_from'].iloc[i]}"
        for factor, column in enumerate(np.linalg.cholesky(error[i]).T, 1):
            values = dict(zip(table.LAB, column, strict=True))
            made.append({"reading": rows["reading"].iloc[i], "source": source, "factor": factor,
                         **values, "scope": "recipe"})  # fmt: skip
    return pd.DataFrame(made, columns=table.SHARED.names)


def repeatability(rows: pd.DataFrame, repeat: float | None) -> np.ndarray:
    """Covariance (n, 3, 3) of one reading: as stated, else from repeats, else the custom."""
    one = np.eye(3) * (UNSTATED if repeat is None else repeat) ** 2
    groups = rows.groupby(["swatch", "area"])
    freedom = len(rows) - groups.ngroups
    if repeat is not None or freedom < _FEW:
        return np.broadcast_to(one, (len(rows), 3, 3))
    rest = rows[table.LAB].to_numpy(float) - groups[table.LAB].transform("mean").to_numpy(float)
    times = groups["L"].transform("size").to_numpy(float)
    share = 1 - 1 / times  # degrees of freedom that each reading brings
    light = rows["L"].to_numpy(float)
    near = np.exp(-0.5 * ((light[:, None] - light) / ALIKE) ** 2)
    squares = np.einsum("nk,nl->nkl", rest, rest)
    pooled = squares.sum(axis=0) / freedom
    local = np.einsum("nm,mkl->nkl", near, squares) + ALL * pooled
    return local / (near @ share + ALL)[:, None, None]


def _after(rows: pd.DataFrame, exposure: str, amount: float, unit: str) -> pd.DataFrame:
    """What each reading came after: as its row says, else as all were told."""
    rows = table.with_exposure(rows)
    told = {"exposure": exposure, "amount": amount, "unit": unit}
    if "exposure" not in rows:
        return rows.assign(**told)
    blank, dosed = rows["exposure"].eq(""), rows["amount"].notna()
    if exposure == "none" and (blank & dosed).any():
        row = rows[blank & dosed].iloc[0]
        raise InputError(
            f"{row['swatch']}: an amount of {row['amount']:g} {row['unit']}".rstrip()
            + ", but of what isn't said. Add a column exposure (wash, light …), or say it for all."
        )
    kinds = rows["exposure"].mask(blank, exposure)
    amounts = rows["amount"].mask(blank & ~dosed, amount)
    units = rows["unit"].mask(blank & rows["unit"].eq(""), unit)
    return rows.assign(exposure=kinds, amount=amounts, unit=units)


def _labels(bk: Book, rows: pd.DataFrame) -> list[str]:
    """A name for each reading that the book doesn't hold yet."""
    taken, made = set(bk.readings["reading"]), []
    for row in rows[["swatch", "area", "source", *table.EXPOSURE]].itertuples():
        area = "" if row.area == "whole" else f"-{row.area}"
        stem = f"{row.swatch}{area}{_name_ending(row)}-{Path(str(row.source)).stem[:20]}"
        made.append(table.free_name(stem, taken))
    return made


def _name_ending(row: Any) -> str:
    """What a reading's name says of its exposure."""
    if row.exposure == "none":
        return ""
    amount = f"{row.amount:g}" if np.isfinite(row.amount) else ""
    return f"-{row.exposure.replace(' ', '-')}{amount}"
