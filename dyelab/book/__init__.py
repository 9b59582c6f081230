"""The swatch book: a folder of open tables that outlives the programs that write it."""

from dyelab.book.export import export, restore
from dyelab.book.history import history, next_steps, open_version, redo, swatch_history, undo
from dyelab.book.merge_books import merge
from dyelab.book.opening import add, change, create, remove, rename, save
from dyelab.book.opening import open_book as open
from dyelab.book.photos import add_photo, check, keep_photo, path_inside, photos_of, read_places
from dyelab.book.readings import (
    InstrumentReadings,
    add_readings,
    enter,
    instrument_readings,
    read_by_instrument,
)
from dyelab.book.search import search
from dyelab.book.spreadsheet.changes import Changes, take_in, what_changes
from dyelab.book.spreadsheet.columns import FIELDS, matches
from dyelab.book.spreadsheet.rows import Incoming, understand
from dyelab.book.spreadsheet.sheets import Sheet, sheet, sheets
from dyelab.book.suspicions import suspicions
from dyelab.book.swatch_book import Book, tables
from dyelab.book.views import areas, locate, materials, named_areas, part_of, recipes, wide
