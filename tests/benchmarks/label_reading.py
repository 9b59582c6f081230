"""How many labels are read in rendered photos: cloth, yarn and large cards.

python tests/benchmarks/label_reading.py [photos a kind] [megapixels] [first seed]

Prints the sums so far after every tenth photo of each kind, so that a long run may be cut short.
"""

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import labelled
import numpy as np

from dyelab import calibrate, card, measure, read


def main(photos=2, megapixels=12.0, first=100):
    sums = {kind: np.zeros(4) for kind in card.KINDS}
    for i in range(int(photos)):
        for kind in card.KINDS:
            sums[kind] += one(int(first) + i, kind, megapixels)
        if i % 10 == 9 or i == int(photos) - 1:
            for kind, total in sums.items():
                report(kind, i + 1, *total)


def one(seed, kind, megapixels):
    """Labels laid, read rightly, read wrongly, and seconds of one photo."""
    picture, laid = labelled.photo(seed, kind, megapixels)
    photo = read.photo(picture.jpeg(), name="a.jpg")
    pose = calibrate.find_card(photo)
    start = time.process_time()
    found = measure.read_labels(photo, pose).dropna()
    took = time.process_time() - start
    told = dict(zip(found["place"], found["number"], strict=True))
    right = sum(told.get(label.place) == label.number for label in laid)
    wrong = sum(told.get(label.place, label.number) != label.number for label in laid)
    return np.array([len(laid), right, wrong, took])


def report(kind, photos, laid, right, wrong, took):
    speed = 1000 * took / photos
    print(f"{kind:6} {right:.0f} of {laid:.0f} read, {wrong:.0f} wrong, {speed:.0f} ms a photo",
          flush=True)  # fmt: skip


if __name__ == "__main__":
    main(*map(float, sys.argv[1:]))
