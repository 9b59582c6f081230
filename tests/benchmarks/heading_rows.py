"""Which row of a spreadsheet is taken for its headings, by what other cells and numbers count.

``python tests/benchmarks/heading_rows.py``: sheets of ``tests/own_sheets.py`` whose headings are
found in another row than with the values in use, which are right in all of them.
"""

import importlib
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import own_sheets

from dyelab import book

sheets = importlib.import_module("dyelab.book.spreadsheet.sheets")
TRIED = [(1, 1), (0.5, 1), (2, 1), (1, 0.5), (1, 2), (0, 1), (1, 0)]


def rows(paths):
    return [(one.file, one.name, one.heading) for path in paths for one in book.sheets(path)]


def main():
    used = sheets.OTHER, sheets.DIGITS
    with tempfile.TemporaryDirectory() as folder:
        made = (*own_sheets.FRESH, *own_sheets.FURTHER, *own_sheets.LAID_OUT)
        paths = [make(Path(folder))[0] for make in made]
        right = rows(paths)
        for other, digits in TRIED:
            sheets.OTHER, sheets.DIGITS = other * used[0], digits * used[1]
            wrong = sum(a != b for a, b in zip(rows(paths), right, strict=True))
            print(f"OTHER x{other:g}, DIGITS x{digits:g}: {wrong} of {len(right)} sheets otherwise")
    sheets.OTHER, sheets.DIGITS = used


if __name__ == "__main__":
    main()
