"""The swatch book: a folder of open tables that outlives the programs that write it."""

from dyelab.book.model import Book, tables
from dyelab.book.opening import add, change, create, history, redo, remove, save, undo, was
from dyelab.book.opening import open_book as open
from dyelab.book.photos import check, inside, keep_photo, photos_of
from dyelab.book.views import areas, materials, recipes, wide

__all__ = [
    "Book",
    "add",
    "areas",
    "change",
    "check",
    "create",
    "history",
    "inside",
    "keep_photo",
    "materials",
    "open",
    "photos_of",
    "recipes",
    "redo",
    "remove",
    "save",
    "tables",
    "undo",
    "was",
    "wide",
]
