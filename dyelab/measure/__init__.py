"""Window to colour, spread and flags: one photo or ten thousand."""

from dyelab.measure.labels import READ, names_by_label, read_labels
from dyelab.measure.many_photos import Result, calibration, photos, worth_reading
from dyelab.measure.pictures import crops, overlay, patchwork
from dyelab.measure.single_photo import COLUMNS, MeasuredPhoto, boxes, photo
from dyelab.measure.together import (
    Earlier,
    JoinedPhoto,
    Kinship,
    earlier,
    join,
    kinship,
    pair_sentences,
    with_earlier,
)
