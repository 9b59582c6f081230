"""Panels for the notebooks: gather choices, make one call, show what came of it."""
