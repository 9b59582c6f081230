"""Invented cloth with known answers: spectra, books and photos for the demo, tests and lessons."""
