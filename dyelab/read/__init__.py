"""Bytes to readings: instrument files and tables in every open format, and pictures."""

from dyelab.read.file_data import file_data
from dyelab.read.instrument_file import Measurements, measurements
from dyelab.read.photo import Photo, photo
from dyelab.read.reflectance import Scale
from dyelab.read.typed_lines import typed_lines
