"""Linear light, card and target finding, shading, camera-to-XYZ fit and its error."""

from dyelab.calibrate.calibrate import OwnSwatches, Setup, from_target
from dyelab.calibrate.camera_calibration import (
    Calibration,
    Errors,
    read_calibration,
    write_calibration,
)
from dyelab.calibrate.card_pose import Pose, find_card, from_corners, map_points
from dyelab.calibrate.fit import METHODS, check_method
from dyelab.calibrate.nearby_swatches import most_telling
from dyelab.calibrate.reference import Reference, reference
from dyelab.calibrate.sampling import Samples, sample
from dyelab.calibrate.shading import Shading, even_light
from dyelab.calibrate.target import Target, find_anywhere, find_on_card, from_outline
from dyelab.calibrate.white import from_white
