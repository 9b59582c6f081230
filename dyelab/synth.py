"""The example that comes along: Marlpit Yard's instrument files and photo, and the book they make.

Marlpit Yard is an invented studio; nothing in it was measured. Its files were written by the
model in ``tests/worlds/synth``, which states what it assumes.
"""

from pathlib import Path

import numpy as np
import pandas as pd

from dyelab import book, convert, files, read, table
from dyelab.book import Book
from dyelab.errors import InputError

TAKEN_AT = "2025-09-20T10:00:00"
_CHI2_95 = 7.814728  # chi-squared, 3 degrees of freedom, 95 %


def example() -> Path:
    """Folder of the swatch book that ships with dyelab: ``book.open(synth.example())``.

    Examples
    --------
    >>> from dyelab import synth
    >>> synth.example().name
    'marlpit_yard'
    """
    return files.shipped_path("data", "marlpit_yard")


def sources() -> Path:
    """Folder of the instrument files and recipe tables behind the example.

    Examples
    --------
    >>> from dyelab import synth
    >>> synth.sources().name
    'studio'
    """
    return files.shipped_path("data", "studio")


def collect(folder: str | Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Read every instrument file that the studio's log names, and join the two.

    Parameters
    ----------
    folder : str or Path
        As `write_sources` writes it: `measured.csv` and the files its `source` column names.

    Returns
    -------
    readings : DataFrame
        As `table.READINGS`: the log with the colours the files give.
    spectra : DataFrame
        `reading` and one column a wavelength.

    Raises
    ------
    InputError
        If a file is missing or can't be read, or if the log names a sample no file has.

    Notes
    -----
    Spectra from 400 to 700 nm lack the ends of the visible range; ASTM E308 gives their weight
    to the first and last band, and the readings are flagged ``ends``.

    Examples
    --------
    >>> from dyelab import synth
    >>> readings, spectra = synth.collect(synth.sources())
    >>> len(readings)
    913
    """
    folder = Path(folder)
    log = pd.read_csv(folder / "measured.csv", keep_default_na=False)
    found = [read.measurements(folder / name).spectra for name in log["source"].unique()]
    spectra = pd.concat([part for part in found if part is not None], ignore_index=True)
    lost = log.loc[~log["reading"].isin(spectra["sample"]), ["reading", "source"]]
    if len(lost):
        raise InputError(
            f"measured.csv: sample {lost['reading'].iloc[0]!r} isn't in "
            f"{lost['source'].iloc[0]}. Correct the name, or take the row out."
        )
    bands = convert.wavelength_columns(spectra)
    lab = convert.spectra_to_lab(spectra, *table.DEFAULT_WHITE)[
        ["sample", *table.LAB, *table.WHITE]
    ]
    ends = "ends" if convert.missing_ends([float(band) for band in bands]) else ""
    joined = log.merge(lab.rename(columns={"sample": "reading"}), on="reading").assign(flags=ends)
    named = spectra[["sample", *bands]].rename(columns={"sample": "reading"})
    lacking = {name: cell for name, cell in table.NOT_STATED.items() if name not in joined}
    return joined.assign(**lacking)[table.READINGS.names], named


def write_book(folder: str | Path, path: str | Path) -> Book:
    """Make the swatch book at `path` from the studio's files in `folder`, and return it.

    Parameters
    ----------
    folder : str or Path
        As `write_sources` writes it.
    path : str or Path
        Where the book shall be; it must not be there yet.

    Returns
    -------
    Book

    Examples
    --------
    >>> from dyelab import synth
    >>> synth.write_book(synth.sources(), folder / "yard")
    Book('yard': 203 swatches, 679 steps, 913 readings, 0 faults)
    """
    files_of = {name: Path(folder) / f"{name}.csv" for name in ("swatches", "steps", "tests")}
    tables = {name: pd.read_csv(file, keep_default_na=False) for name, file in files_of.items()}
    readings, spectra = collect(folder)
    bk = book.create(path, title="Marlpit Yard (invented)")
    return book.save(book.add(bk, **tables, readings=readings, spectra=spectra))


def by_instrument(folder: str | Path) -> pd.DataFrame:
    """Return CIELAB of the same swatches by an instrument: `sample, L, a, b` and white point.

    Examples
    --------
    >>> from dyelab import synth
    >>> synth.by_instrument(synth.sources() / "photos").head(1)[["L", "a", "b"]].round(1)
          L     a     b
    0  48.4  37.5  18.0
    """
    spectra = read.measurements(Path(folder) / "by_instrument.csv").spectra
    if spectra is None:
        raise InputError("by_instrument.csv: no spectra found. Write the batch again.")
    return convert.spectra_to_lab(spectra, *table.DEFAULT_WHITE)


def agreement(read: pd.DataFrame, instrument: pd.DataFrame) -> pd.DataFrame:
    """Compare photo readings with an instrument's of the same swatches.

    Parameters
    ----------
    read : DataFrame
        `swatch, L, a, b`, white point, covariances.
    instrument : DataFrame
        `sample` (the swatch), `L, a, b`, white point.

    Returns
    -------
    DataFrame
        `swatch, dE00`, and `inside`: whether the instrument's colour lies where the photo's
        stated uncertainty puts it 95 times in a hundred (chi-squared, three coordinates).

    Examples
    --------
    >>> from dyelab import synth
    >>> seen = synth.by_instrument(synth.sources() / "photos").head(1)
    >>> read = seen.rename(columns={"sample": "swatch"}).assign(u_L=1.0, u_a=1.0, u_b=1.0)
    >>> bool(synth.agreement(read, seen)["inside"].iloc[0])
    True
    """
    table.one_white(read, instrument)
    other = instrument.set_index("sample").loc[read["swatch"], table.LAB].to_numpy()
    own = read[table.LAB].to_numpy()
    off = other - own
    squares = np.einsum("ni,nij,nj->n", off, np.linalg.inv(table.covariances(read)), off)
    found = read[["swatch"]].reset_index(drop=True)
    return found.assign(dE00=convert.dE00(other, own), inside=squares < _CHI2_95)


def add_photographed(bk: Book, folder: str | Path, *, overlays: str | Path | None = None) -> Book:
    """Put the batch into a book: swatches, recipes, readings, and the photos themselves.

    Parameters
    ----------
    bk : Book
    folder : str or Path
        As `write_phone` writes it.
    overlays : str or Path, optional
        Folder for a picture that shows what was measured where.

    Returns
    -------
    Book
        Saved.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.create(folder / "mine")
    >>> len(synth.add_photographed(bk, synth.sources() / "photos").readings)
    24
    """
    from dyelab import measure

    folder = Path(folder)
    made = {n: files.cells(folder / f"{n}.csv")[0] for n in ("swatches", "steps")}
    bk = book.add(bk, **made)
    for name, places in book.read_places(folder / "photos.csv").items():
        result = measure.photos([folder / name], overlays=overlays, white=bk.white)
        bk, _ = book.add_photo(bk, result, folder / name, places, taken_at=TAKEN_AT)
    return book.save(bk)
