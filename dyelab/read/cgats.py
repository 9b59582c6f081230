"""CGATS.17 / ISO 28178 text, in the variants that are met."""

import re
from collections.abc import Iterator

import pandas as pd

from dyelab.errors import InputError, offer
from dyelab.read.conditions import conditions
from dyelab.read.rows import Grid, illuminant_in, observer_in
from dyelab.table import fault

_TOKEN = re.compile(r'"((?:[^"]|"")*)"|(\S+)')
_COUNT = re.compile(r"[0-9]{1,9}")
_PAIRS = {"SPECTRALNM", "SPECTRALWL"}


def looks_like(text: str) -> bool:
    """Whether a text is CGATS: it has the keyword that begins its format or its data."""
    return re.search(r"^[ \t]*BEGIN_DATA(_FORMAT)?[ \t\r]*$", text, flags=re.M) is not None


def grids(text: str, name: str) -> list[Grid]:
    """Every table of a CGATS text.

    Raises
    ------
    InputError
        If the format or the data are missing or break off.
    """
    if tables := list(_sections(text.split("\n"), name)):
        return tables
    raise InputError(
        f"{name}: no BEGIN_DATA line found, so the file holds no data. "
        "Expected a CGATS table: export the measurements again."
    )


def _sections(lines: list[str], name: str) -> Iterator[Grid]:
    meta: list[str] = []
    columns: list[str] = []
    at = 0
    while at < len(lines):
        word = lines[at].strip()
        if word == "BEGIN_DATA_FORMAT":
            end = _end(lines, at, "END_DATA_FORMAT", name)
            named = [line for line in lines[at + 1 : end] if not _is_remark(line)]
            columns = _columns(named, next((x for x in _data_after(lines, end)), ""))
            at = end
        elif word == "BEGIN_DATA":
            if not columns:
                raise InputError(
                    f"{name} line {at + 1}: BEGIN_DATA found before any BEGIN_DATA_FORMAT, so the "
                    "columns have no names. Export the file with its data format."
                )
            end = _end(lines, at, "END_DATA", name)
            yield _table(lines[at + 1 : end], at + 2, columns, meta, name)
            counts = ("NUMBER_OF_SETS", "NUMBER_OF_FIELDS")
            meta, at = [line for line in meta if not line.startswith(counts)], end
        elif word and not _is_remark(word):
            meta.append(word)
        at += 1


def _data_after(lines: list[str], at: int) -> Iterator[str]:
    """The data lines behind a format."""
    there = [i for i in range(at, len(lines)) if lines[i].strip() == "BEGIN_DATA"]
    begin = there[0] if there else len(lines)
    return (line for line in lines[begin + 1 :] if line.strip() and not _is_remark(line))


def _columns(lines: list[str], data: str) -> list[str]:
    """Field names of a format, parted by tabs, or by tabs and spaces if the data say so."""
    by_tab = [cell for line in lines for cell in _tokens(line)]
    spaced = [quoted or bare for line in lines for quoted, bare in _TOKEN.findall(line)]
    if len(by_tab) == len(spaced) or _cells(data, len(by_tab)) is not None:
        return by_tab
    return spaced if _cells(data, len(spaced)) is not None else by_tab


def _is_remark(line: str) -> bool:
    return line.lstrip().startswith("#")


def _end(lines: list[str], start: int, word: str, name: str) -> int:
    for at in range(start + 1, len(lines)):
        if lines[at].strip() == word:
            return at
    raise InputError(
        f"{name} line {len(lines)}: the file breaks off: {lines[start].strip()} on line "
        f"{start + 1} has no {word}. Copy or export the whole file again."
    )


def _tokens(line: str) -> list[str]:
    if "\t" in line:
        return [cell.strip().strip('"') for cell in line.split("\t") if cell.strip()]
    return [quoted or bare for quoted, bare in _TOKEN.findall(line)]


def _cells(line: str, count: int) -> list[str] | None:
    """Cells of a data line, by tabs or else by spaces; None if neither gives the count."""
    by_tab = [cell.strip().strip('"') for cell in line.split("\t")]
    ended = by_tab[:count] if not any(by_tab[count:]) else by_tab
    spaced = [quoted or bare for quoted, bare in _TOKEN.findall(line)]
    ways = (ended, [cell for cell in by_tab if cell], spaced)
    return next((cells for cells in ways if len(cells) == count), None)


def _table(lines: list[str], first: int, columns: list[str], meta: list[str], name: str) -> Grid:
    kept, rows, faults = [], [], []
    for number, line in enumerate(lines, first):
        cells = _cells(line, len(columns))
        # A line that begins with # is a remark, unless it has all the values of a sample.
        if not line.strip() or (cells is None and _is_remark(line)):
            continue
        if cells is None:
            said = f"{len(_tokens(line))} values", f"where the format has {len(columns)} fields"
            remedy = "Correct the line, or export again."
            faults.append(fault(name, number, "", *said, remedy, word="line"))
            continue
        kept.append(cells)
        rows.append(number)
    notes, missing = _count_notes(meta, len(columns), len(kept) + len(faults), first, name)
    stated = _find_stated(meta)
    frame = _spread_pairs(pd.DataFrame(kept, columns=columns, dtype=str), rows, name)
    return Grid(
        frame,
        rows,
        white=_white(meta),
        norm=_norm(meta, name),
        conditions=conditions(stated),
        told=tuple(f"{key} {value}" for key, value in stated if key.split()[0].upper() in _WHAT),
        notes=tuple(notes),
        faults=(*faults, *missing),
        row_word="line",
    )


def _count_notes(
    meta: list[str], fields: int, found: int, first: int, name: str
) -> tuple[list[str], list[dict]]:
    """Fewer rows than the file promises is a fault; other wrong counts lose nothing: a note."""
    notes, faults = [], []
    sets, named = (_keyword(meta, f"NUMBER_OF_{what}") for what in ("SETS", "FIELDS"))
    promised = int(sets) if _COUNT.fullmatch(sets) else None
    if promised is not None and found < promised:
        said = f"{found} rows of data", f"where NUMBER_OF_SETS says {promised}"
        take = offer("skip_bad", ", or take those there are: {}")
        remedy = f"Some may be missing: export again{take}."
        faults.append(fault(name, first + found, "", *said, remedy, word="line"))
    elif promised is not None and found > promised:
        notes.append(f"NUMBER_OF_SETS says {promised}, the data have {found} rows: all were read")
    if _COUNT.fullmatch(named) and int(named) != fields:
        note = f"NUMBER_OF_FIELDS says {int(named)}, the format names {fields}: its names count"
        notes.append(note)
    return notes, faults


def _find_stated(meta: list[str]) -> list[tuple[str, str]]:
    """Keywords of the head with their values, also those inside a value (``Filter=M1``)."""
    found = []
    for line in meta:
        key, _, value = line.replace("\t", " ").partition(" ")
        value = value.strip().strip('"')
        if key == "KEYWORD":
            continue
        found.append((key, value))
        found += [(f"{key} {k}", v) for k, v in re.findall(r"(\w+)=(\S+)", value)]
    return found


_WHAT = {"DESCRIPTOR", "FILE_DESCRIPTOR", "MEASUREMENT_TYPE", "MEASUREMENT_MODE", "DEVICE_CLASS"}
_WHAT |= {"MEASUREMENT_SOURCE", "MEASUREMENT_GEOMETRY", "SPECTRAL_TYPE", "TARGET_TYPE"}


def _norm(meta: list[str], name: str) -> float | None:
    """What number stands for the perfect reflector, if the file states it."""
    text = _keyword(meta, "SPECTRAL_NORM").replace(",", ".")
    if not text:
        return None
    try:
        norm = float(text)
    except ValueError:
        norm = 0.0
    if not 0 < norm < 1e6:
        raise InputError(
            f"{name}: SPECTRAL_NORM is {text!r}, expected the number that stands for the perfect "
            "reflector, such as 1 or 100. Correct it, or take the line out."
        )
    return norm


def _keyword(meta: list[str], key: str) -> str:
    for line in reversed(meta):
        if line.split(None, 1)[0].upper() == key and len(line.split(None, 1)) == 2:
            return line.split(None, 1)[1].strip().strip('"')
    return ""


def _white(meta: list[str]) -> tuple[str, int] | None:
    """Illuminant and observer that the weighting or the source lines state."""
    illuminant, observer = None, None
    for line in meta:
        upper = line.upper()
        if not upper.startswith(
            ("WEIGHTING_FUNCTION", "ILLUMINANT", "OBSERVER", "MEASUREMENT_SOURCE")
        ):
            continue
        _, _, value = upper.partition("\t") if "\t" in upper else upper.partition(" ")
        for part in re.split(r"\s+(?=\w+=)", value.strip(' "')):
            if "ILLUM" in part or upper.startswith("ILLUMINANT"):
                illuminant = illuminant_in(re.sub(r"ILLUM\w*", " ", part)) or illuminant
            if "OBSERVER" in part or upper.startswith("OBSERVER"):
                observer = observer_in(part) or observer
    return (illuminant, observer) if illuminant and observer else None


def _spread_pairs(frame: pd.DataFrame, rows: list[int], name: str) -> pd.DataFrame:
    """Spread SPECTRAL_NM and SPECTRAL_DEC pairs into one column a wavelength."""
    plain = [column.upper().replace("_", "") for column in frame.columns]
    at = [i for i, column in enumerate(plain) if column in _PAIRS and i + 1 < len(plain)]
    if not at:
        return frame
    rest = [i for i in range(len(plain)) if i not in at and i - 1 not in at]
    waves = frame.iloc[:, at]
    for i, number in enumerate(rows):
        if list(waves.iloc[i]) != list(waves.iloc[0]):
            raise InputError(
                f"{name} line {number}: its wavelengths differ from those of line {rows[0]}. "
                "Expected one set of wavelengths in a table: export such samples separately."
            )
    spectra = frame.iloc[:, [i + 1 for i in at]].copy()
    spectra.columns = [f"nm{wave.replace(',', '.')}" for wave in waves.iloc[0]] if rows else []
    if any(column.endswith("PCT") for column in (plain[i + 1] for i in at)):
        spectra.columns = [f"pct {column}" for column in spectra.columns]
    return pd.concat([frame.iloc[:, rest], spectra], axis=1)
