"""The printed swatch card: its geometry, its PDF and its layout file.

All lengths are millimetres from the page's top left. Measuring needs the layout and the photo
alone; the scale at which the card was printed doesn't matter.
"""

from dyelab.card.layout import (
    KINDS,
    PAPERS,
    Area,
    Layout,
    layout,
    marker_numbers,
    of_markers,
    read_layout,
    write_layout,
)
from dyelab.card.printing import (
    LABEL_MM,
    MARKER_MM,
    PITCH_MM,
    bitmap,
    label_markers,
    label_number,
    label_numbers,
    label_svg,
    marker_cells,
    marker_pair,
    pdf,
)
