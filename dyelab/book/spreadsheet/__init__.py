"""A user's own spreadsheet into a book: as found, as understood, and only then taken in."""
