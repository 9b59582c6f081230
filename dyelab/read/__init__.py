"""Bytes to readings: instrument files and tables in every open format."""

from dyelab.read.measured import Measurements, Scale, measurements

__all__ = ["Measurements", "Scale", "measurements"]
