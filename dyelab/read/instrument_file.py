"""Measurement files to readings: what was decided is said, what is wrong is refused."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from dyelab import limits
from dyelab.errors import PYTHON, InputError, choose, in_words, offer
from dyelab.read import cgats, cxf, sheet, text, values
from dyelab.read.conditions import refuse_other_than_cloth
from dyelab.read.rows import Grid, Roles, Rows, TableReadings, White, name_faults, roles, samples
from dyelab.read.values import Scale
from dyelab.table import EXPOSURE, WHITE, conditions_text, fault


@dataclass(frozen=True)
class Measurements:
    """What a measurement file holds.

    Attributes
    ----------
    lab : DataFrame or None
        `sample, L, a, b, illuminant, observer, source`, then how it was read (`table.CONDITIONS`)
        where the file states that, and other columns of the file. Samples that have a spectrum are
        not in it: their colour comes from the spectrum.
    spectra : DataFrame or None
        `sample`, one column a wavelength in nm named ``"400"`` and so on with reflectance
        factors (NaN where a file mixes ranges and this sample's doesn't reach), `source`, then
        conditions and other columns as in `lab`.
    notes : tuple of str
        What had to be decided: scale, encoding, names.
    faults : DataFrame
        Rows left out with ``skip_bad``: `file, row, column, found, expected, remedy, text`.
    """

    lab: pd.DataFrame | None
    spectra: pd.DataFrame | None
    notes: tuple[str, ...]
    faults: pd.DataFrame


@limits.in_time
def measurements(
    path: str | Path,
    *,
    illuminant: str | None = None,
    observer: int | None = None,
    scale: Scale | None = None,
    skip_bad: bool = False,
    sheet: str | None = None,
    geometry: str | None = None,
    options: Mapping[str, str] = PYTHON,
) -> Measurements:
    """Read CGATS text, CxF3 XML, or a CSV, TSV or XLSX table of spectra, CIELAB or XYZ values.

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
    sheet : str, optional
        Of a workbook with several; by default all that hold readings.
    geometry : str, optional
        Which readings to take where a sample was read under several conditions: words of theirs,
        such as ``45/0`` or ``M1``, or ``all`` to take each as a sample of its own.
    options : mapping of str to str
        How the caller's own options are called in messages; one that isn't named isn't advised.

    Returns
    -------
    Measurements

    Raises
    ------
    InputError
        If the file can't be read, or has a faulty row and `skip_bad` is off; the first fault is
        named in full, and how many more there are.

    Examples
    --------
    >>> from dyelab import read, synth
    >>> read.measurements(synth.sources() / "wool_as_dyed.txt").spectra.iloc[:2, :3].round(3)
      sample    400    410
    0    W01  0.241  0.226
    1    W02  0.152  0.138
    """
    there = {name: word for name, word in options.items() if not (skip_bad and name == "skip_bad")}
    name = Path(path).name
    try:
        grids, notes = _grids(Path(path))
        found, left = _of_sheet(grids, sheet, name)
        if not any(len(grid.cells) or grid.faults for grid in found):
            raise InputError(
                f"{name}: the columns are named, but no row of data follows: the table is empty. "
                "Expected a row for each sample: export the measurements again."
            )
        parts = _parts(found, name, (illuminant, observer), scale)
        made = _merge(parts, [*notes, *left], geometry, name)
        _need_good(made, skip_bad, name)
    except InputError as error:
        raise InputError(in_words(str(error), there)) from None
    told = {n: made.faults[n].map(lambda t: in_words(t, there)) for n in ("remedy", "text")}
    return replace(made, faults=made.faults.assign(**told))


def _need_good(result: Measurements, skip_bad: bool, name: str) -> None:
    """Refuse a file with faults, or all of whose rows have them."""
    if len(result.faults) and not skip_bad:
        first, *others = result.faults["text"]
        more = f" {len(others)} more faults in this file." if others else ""
        good = sum(len(table) for table in (result.lab, result.spectra) if table is not None)
        takes = offer("skip_bad", f" The other {good} rows are good: {{}} takes them.")
        raise InputError(first + more + (takes if good else ""))
    if result.lab is None and result.spectra is None:
        first = result.faults["text"].iloc[0]
        raise InputError(f"{name}: no row could be read; the first fault: {first}")


def _grids(path: Path) -> tuple[list[Grid], list[str]]:
    data = text.content(path)
    if cxf.looks_like(data):
        return cxf.grids(data, path.name), []
    if data.startswith(b"PK\x03\x04"):
        return sheet.from_workbook(data, path.name), []
    content, notes = text.decode(data, path.name)
    if cgats.looks_like(content):
        return cgats.grids(content, path.name), notes
    _not_cut_off(content, path.name)
    return [sheet.from_text(content, path.name)], notes


def _of_sheet(found: list[Grid], sheet: str | None, name: str) -> tuple[list[Grid], list[str]]:
    """The tables of one sheet, if one is asked for, and what was left."""
    if sheet is None:
        return found, []
    titles = [grid.sheet for grid in found]
    choose(sheet, [title for title in titles if title] or ["(no sheets)"], "sheet", f"in {name}")
    others = [title for title in titles if title != sheet]
    return [grid for grid in found if grid.sheet == sheet], (
        [f"left out, as asked: {', '.join(others)}"] if others else []
    )


def _not_cut_off(content: str, name: str) -> None:
    """A CGATS file that ends before its data would else be taken for a table without a header."""
    if content.lstrip().startswith(("CGATS", "ISO28178", "NUMBER_OF_", "BEGIN_DATA")):
        raise InputError(
            f"{name}: the file breaks off before its data: no BEGIN_DATA line found. "
            "Copy or export the whole file again."
        )


def _parts(found: list[Grid], name: str, white: White, scale: Scale | None) -> list[TableReadings]:
    """Every table read, spectra first: CIELAB is needed only for samples that have none."""
    parts: list[TableReadings] = []
    measured: set[str] = set()
    held = [(grid, _role(grid, name)) for grid in found]
    for grid, role in sorted(held, key=lambda one: not one[1].bands):
        names, notes = samples(grid, role)
        refuse_other_than_cloth(name, (*grid.told, f"descriptor {grid.sheet}"), names)
        rows = Rows(grid, name, names)
        if role.bands:
            stated = values.labs(rows, role, white).lab if role.lab else None
            part = _good(replace(values.spectra(rows, role, scale), stated=stated), rows)
            measured |= set(names)
        else:
            part = _colorimetric(rows, role, white, measured)
        parts.append(replace(part, notes=(*grid.notes, *notes, *part.notes)))
    return parts


def _role(grid: Grid, name: str) -> Roles:
    columns = list(grid.cells.columns)
    twice = next((column for column in columns if column and columns.count(column) > 1), None)
    where = f"{name}, sheet {grid.sheet!r}" if grid.sheet else name
    if twice:
        raise InputError(
            f"{where}: the column {twice!r} is there {columns.count(twice)} times. "
            "Expected each name once: rename or remove the others"
            + (offer("sheet", ", or read another sheet alone: {}", "NAME") if grid.sheet else "")
            + "."
        )
    role = roles(columns)
    if not (role.lab or role.xyz or role.bands):
        raise InputError(
            f"{where}: no L, a, b, no X, Y, Z and no wavelength columns found among "
            f"{', '.join(columns[:10])}. Export the file with spectra, CIELAB or XYZ."
        )
    return role


def _colorimetric(rows: Rows, role: Roles, white: White, measured: set[str]) -> TableReadings:
    """CIELAB of the samples without a spectrum; that of the others is only what the file states."""
    covered = rows.samples.isin(measured).to_numpy()
    stated = values.labs(rows.only(covered), role, white).lab if covered.any() else None
    if len(covered) and covered.all():
        return TableReadings(stated=stated, faults=rows.grid.faults)
    rest = rows.only(~covered)
    return _good(replace(values.labs(rest, role, white), stated=stated), rest)


def _good(part: TableReadings, rows: Rows) -> TableReadings:
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


def _merge(
    parts: list[TableReadings], notes: list[str], geometry: str | None, name: str
) -> Measurements:
    """One result from all tables of a file."""
    spectra, lab = (_join([getattr(part, kind) for part in parts]) for kind in ("spectra", "lab"))
    stated = _join([part.stated for part in parts])
    said = [*notes, *(note for part in parts for note in part.notes)]
    if stated is not None and spectra is not None:
        said += ["colour comes from the spectra, not from the file's own CIELAB"]
        said += [note for note in [values.agreement(spectra, stated)] if note]
    lab, of_lab = _of_conditions(lab, geometry, name)
    spectra, of_spectra = _of_conditions(spectra, geometry, name)
    said += [*of_lab, *of_spectra]
    faults = [record for part in parts for record in part.faults]
    frame = pd.DataFrame(faults, columns=list(fault("", 1, "", "", "", "")))
    return Measurements(lab, spectra, tuple(dict.fromkeys(said)), frame)


def _join(tables: list[pd.DataFrame | None]) -> pd.DataFrame | None:
    present = [table for table in tables if table is not None and len(table)]
    if not present:
        return None
    joined = pd.concat(present, ignore_index=True)
    whole = set(WHITE) <= set(joined.columns) and joined["observer"].notna().all()
    return joined.astype({"observer": int}) if whole else joined


def _of_conditions(
    table: pd.DataFrame | None, wanted: str | None, name: str
) -> tuple[pd.DataFrame | None, list[str]]:
    """Each sample once: read under the conditions asked for, or each of them by its own name."""
    if table is None:
        return None, []
    how = table.apply(conditions_text, axis=1)
    again = _moments(table).duplicated(keep=False)
    if wanted == "all":
        named = table["sample"].where(~again, table["sample"] + " (" + how + ")")
        return _once(table.assign(sample=named), name), []
    if wanted is None:
        if again.any() and how[again].nunique() > 1:
            raise _several(table, how[again], name)
        return _once(table, name), []
    kept = how.map(lambda text: all(part in _parts_of(text) for part in _parts_of(wanted)))
    if not kept.any():
        raise InputError(
            f"{name}: nothing here was read under {wanted!r}. Found: "
            f"{', '.join(sorted(set(how))) or 'no conditions stated'}."
        )
    others = sorted(set(how[~kept]))
    notes = [f"left out, as asked: {(~kept).sum()} readings under {'; '.join(others)}"]
    return _once(table[kept].reset_index(drop=True), name), notes if others else []


def _parts_of(text: str) -> list[str]:
    return [part.strip().casefold() for part in text.split(",")]


def _several(table: pd.DataFrame, how: pd.Series, name: str) -> InputError:
    first = table["sample"].loc[how.index[0]]
    kinds = list(dict.fromkeys(how))
    shown = "; ".join(kinds[:12]) + (" …" if len(kinds) > 12 else "")
    return InputError(
        f"{name}: the sample {first!r} was read under {len(kinds)} conditions: {shown}. They are "
        "not the same colour, so none is taken unasked"
        + offer("reading", ". Choose one: {}", kinds[0])
        + offer("reading", ", or take each as a sample of its own: {}", "all")
        + "."
    )


def _moments(table: pd.DataFrame) -> pd.DataFrame:
    """Sample, and after what it was read: a series of exposures is one sample at many moments."""
    return table[["sample", *(name for name in EXPOSURE if name in table)]]


def _once(table: pd.DataFrame, name: str) -> pd.DataFrame:
    """The table, if each sample is in it once."""
    again = _moments(table).duplicated()
    if not again.any():
        return table
    raise InputError(
        f"{name}: the sample {table.loc[again, 'sample'].iloc[0]!r} is in several tables of this "
        "file. Give each measurement a name of its own"
        + offer("sheet", ", or read one sheet of a workbook alone: {}", "NAME")
        + "."
    )
