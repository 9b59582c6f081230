"""Window to colour, spread and flags: one photo or ten thousand."""

from dyelab.measure.many import Result, calibration, photos, worth_reading
from dyelab.measure.one import COLUMNS, Measured, boxes, photo
from dyelab.measure.overlay import overlay

__all__ = [
    "COLUMNS",
    "Measured",
    "Result",
    "boxes",
    "calibration",
    "overlay",
    "photo",
    "photos",
    "worth_reading",
]
