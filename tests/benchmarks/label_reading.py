"""How many labels are read in rendered photos: cloth, yarn and large cards.

python tests/benchmarks/label_reading.py [photos a kind] [megapixels]
"""

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import labelled

from dyelab import calibrate, card, measure, read


def main(photos, megapixels):
    for kind in card.KINDS:
        right = wrong = total = 0
        took = 0.0
        for seed in range(photos):
            picture, laid = labelled.photo(100 + seed, kind, megapixels)
            photo = read.photo(picture.jpeg(), name="a.jpg")
            pose = calibrate.find_card(photo)
            start = time.perf_counter()
            found = measure.read_labels(photo, pose).dropna()
            took += time.perf_counter() - start
            told, total = dict(zip(found["place"], found["number"], strict=True)), total + len(laid)
            right += sum(told.get(label.place) == label.number for label in laid)
            wrong += sum(told.get(label.place, label.number) != label.number for label in laid)
        speed = 1000 * took / photos
        print(f"{kind:6} {right} of {total} read, {wrong} wrong, {speed:.0f} ms a photo")


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 2,
        float(sys.argv[2]) if len(sys.argv) > 2 else 12,
    )
