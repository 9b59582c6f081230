"""Measurement files to readings: what was decided is said, what is wrong is refused."""

from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from dyelab.errors import InputError
from dyelab.read import cgats, cielab, cxf, reflectance, sheet, text
from dyelab.read.columns import Roles, roles
from dyelab.read.grid import Grid
from dyelab.read.reflectance import Scale
from dyelab.read.rows import Part, Rows, name_faults, samples
from dyelab.table import WHITE, fault


@dataclass(frozen=True)
class Measurements:
    """What a measurement file holds.

    Attributes
    ----------
    lab : DataFrame or None
        `sample, L, a, b, illuminant, observer, source`, then `geometry` (such as 45/0) where the
        file states one and other columns of the file. Samples
        that have a spectrum are not in it: their colour comes from the spectrum.
    spectra : DataFrame or None
        `sample`, one column a wavelength in nm named ``"400"`` and so on with reflectance
        factors (NaN where a file mixes ranges and this sample's doesn't reach), `source`, then
        `geometry` and other columns as in `lab`.
    notes : tuple of str
        What had to be decided: scale, encoding, names.
    faults : DataFrame
        Rows left out with ``skip_bad``: `file, row, column, found, expected, remedy, text`.
    """

    lab: pd.DataFrame | None
    spectra: pd.DataFrame | None
    notes: tuple[str, ...]
    faults: pd.DataFrame


def measurements(
    path: str | Path,
    *,
    illuminant: str | None = None,
    observer: int | None = None,
    scale: Scale | None = None,
    skip_bad: bool = False,
) -> Measurements:
    """Read CGATS text, CxF3 XML, or a CSV, TSV or XLSX table of spectra or CIELAB values.

    Parameters
    ----------
    path : str or Path
        The file. Its content decides the format, not its name.
    illuminant, observer : optional
        White of CIELAB values whose file doesn't state one. What a file states is never
        overridden.
    scale : {"percent", "factor"}, optional
        What the reflectance numbers are. By default what the file says, else per cent if the
        brightest band of a typical row is over 2 and factors if not.
    skip_bad : bool
        Leave faulty rows out and list them in `faults`, instead of refusing the file.

    Returns
    -------
    Measurements

    Raises
    ------
    InputError
        If the file can't be read, or has a faulty row and `skip_bad` is off; the first fault is
        named in full, and how many more there are.
    """
    path = Path(path)
    found, notes = _grids(path)
    if not any(len(grid.cells) or grid.faults for grid in found):
        raise InputError(
            f"{path.name}: the columns are named, but no row of data follows: the table is empty. "
            "Expected a row for each sample: export the measurements again."
        )
    result = _merged(_parts(found, path.name, (illuminant, observer), scale), notes, path.name)
    if len(result.faults) and not skip_bad:
        raise InputError(_refusal(result))
    if result.lab is None and result.spectra is None:
        first = result.faults["text"].iloc[0]
        raise InputError(f"{path.name}: no row could be read; the first fault: {first}")
    return result


def _refusal(result: Measurements) -> str:
    first, *others = result.faults["text"]
    more = f" {len(others)} more faults in this file." if others else ""
    good = sum(len(table) for table in (result.lab, result.spectra) if table is not None)
    offer = (
        f" The other {good} rows are good: --skip-bad (skip_bad=True) takes them." if good else ""
    )
    return first + more + offer


def _grids(path: Path) -> tuple[list[Grid], list[str]]:
    data = text.content(path)
    if cxf.looks_like(data):
        return cxf.grids(data, path.name), []
    if data.startswith(b"PK\x03\x04"):
        return sheet.from_workbook(data, path.name), []
    content, notes = text.decoded(data, path.name)
    if cgats.looks_like(content):
        return cgats.grids(content, path.name), notes
    _not_cut_off(content, path.name)
    return [sheet.from_text(content, path.name)], notes


def _not_cut_off(content: str, name: str) -> None:
    """A CGATS file that ends before its data would else be taken for a table without a header."""
    if content.lstrip().startswith(("CGATS", "ISO28178", "NUMBER_OF_", "BEGIN_DATA")):
        raise InputError(
            f"{name}: the file breaks off before its data: no BEGIN_DATA line found. "
            "Copy or export the whole file again."
        )


def _parts(
    found: list[Grid], name: str, white: tuple[str | None, int | None], scale: Scale | None
) -> list[Part]:
    """Every table read, spectra first: CIELAB is needed only for samples that have none."""
    parts: list[Part] = []
    measured: set[str] = set()
    for grid, role in sorted(((grid, _role(grid, name)) for grid in found), key=_without_bands):
        names, notes = samples(grid, role)
        rows = Rows(grid, name, names)
        if role.bands:
            part = _spectral(rows, role, white, scale)
            measured |= set(names)
        else:
            part = _colorimetric(rows, role, white, measured)
        parts.append(replace(part, notes=(*grid.notes, *notes, *part.notes)))
    return parts


def _without_bands(one: tuple[Grid, Roles]) -> bool:
    return not one[1].bands


def _role(grid: Grid, name: str) -> Roles:
    columns = list(grid.cells.columns)
    twice = next((column for column in columns if column and columns.count(column) > 1), None)
    if twice:
        raise InputError(
            f"{name}: the column {twice!r} is there {columns.count(twice)} times. "
            "Expected each name once: rename or remove the others."
        )
    role = roles(columns)
    if not role.lab and not role.bands:
        raise InputError(
            f"{name}: no L, a, b and no wavelength columns found among "
            f"{', '.join(columns[:10])}. Export the file with spectra or CIELAB."
        )
    return role


def _spectral(
    rows: Rows, role: Roles, white: tuple[str | None, int | None], scale: Scale | None
) -> Part:
    part = reflectance.spectra(rows, role, scale)
    stated = cielab.labs(rows, role, white).lab if role.lab else None
    return _good(replace(part, stated=stated), rows)


def _colorimetric(
    rows: Rows, role: Roles, white: tuple[str | None, int | None], measured: set[str]
) -> Part:
    """CIELAB of the samples without a spectrum; that of the others is only what the file states."""
    covered = rows.samples.isin(measured).to_numpy()
    stated = cielab.labs(rows.only(covered), role, white).lab if covered.any() else None
    if len(covered) and covered.all():
        return Part(stated=stated, faults=rows.grid.faults)
    rest = rows.only(~covered)
    return _good(replace(cielab.labs(rest, role, white), stated=stated), rest)


def _good(part: Part, rows: Rows) -> Part:
    """The part without its faulty rows, and with every fault of its table, in their order."""
    faults = [*rows.grid.faults, *name_faults(rows), *part.faults]
    bad = {record["row"] for record in faults}
    good = [number not in bad for number in rows.grid.rows]
    return replace(
        part,
        lab=part.lab[good] if part.lab is not None else None,
        spectra=part.spectra[good] if part.spectra is not None else None,
        faults=tuple(sorted(faults, key=lambda record: record["row"] or 0)),
    )


def _merged(parts: list[Part], notes: list[str], name: str) -> Measurements:
    """One result from all tables of a file."""
    spectra, lab = (_joined([getattr(part, kind) for part in parts]) for kind in ("spectra", "lab"))
    stated = _joined([part.stated for part in parts])
    said = [*notes, *(note for part in parts for note in part.notes)]
    if stated is not None and spectra is not None:
        said += ["colour comes from the spectra, not from the file's own CIELAB"]
        said += [note for note in [cielab.agreement(spectra, stated)] if note]
    _once(lab, name)
    _once(spectra, name)
    faults = [record for part in parts for record in part.faults]
    frame = pd.DataFrame(faults, columns=list(fault("", 1, "", "", "", "")))
    return Measurements(lab, spectra, tuple(dict.fromkeys(said)), frame)


def _joined(tables: list[pd.DataFrame | None]) -> pd.DataFrame | None:
    present = [table for table in tables if table is not None and len(table)]
    if not present:
        return None
    joined = pd.concat(present, ignore_index=True)
    whole = set(WHITE) <= set(joined.columns) and joined["observer"].notna().all()
    return joined.astype({"observer": int}) if whole else joined


def _once(table: pd.DataFrame | None, name: str) -> None:
    if table is None or not table["sample"].duplicated().any():
        return
    again = table.loc[table["sample"].duplicated(), "sample"].iloc[0]
    raise InputError(
        f"{name}: the sample {again!r} is in several tables of this file. "
        "Give each measurement a name of its own."
    )
