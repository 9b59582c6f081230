"""Bytes to readings: instrument files and tables in every open format, and pictures."""

from dyelab.read.instrument_file import Measurements, measurements
from dyelab.read.photo import Photo, file_data, photo
from dyelab.read.typed_lines import typed_lines
from dyelab.read.values import Scale
