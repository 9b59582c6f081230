"""A user's own spreadsheet into a book: as found, as understood, and only then taken in."""

from dyelab.book.spreadsheet.changes import Changes, take_in, what_changes
from dyelab.book.spreadsheet.columns import FIELDS, KEEP, LEAVE, matches
from dyelab.book.spreadsheet.rows import Incoming, understand
from dyelab.book.spreadsheet.sheets import Sheet, sheet, sheets
