"""Worlds apart from the package's own: other laws, to judge what is stated."""
