"""Bytes to readings: instrument files and tables in every open format."""

from dyelab.read.measured import Measurements, measurements
from dyelab.read.reflectance import Scale

__all__ = ["Measurements", "Scale", "measurements"]
