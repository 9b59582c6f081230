"""How many labels are read in rendered photos: cloth, yarn and large cards.

python tests/benchmarks/label_reading.py [photos a kind] [megapixels] [first seed] [vary]

Prints the sums so far after every tenth photo of each kind, so that a long run may be cut short.
With `vary` only what half and double of each constant of `measure.labels` would do, in pictures of
3 megapixels, where labels are smallest: read, read wrongly and time, of all kinds together.
"""

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import labelled
import numpy as np

from dyelab import calibrate, card, measure, read
from dyelab.measure import labels

VARIED = ("AROUND", "INTO", "SCALE", "OFF_MM", "OFF_TURN", "REPAIRED")


def vary(photos=2, megapixels=3.0, first=100):
    made = [
        shown(int(first) + i, kind, megapixels) for i in range(int(photos)) for kind in card.KINDS
    ]
    for name in (*VARIED, *labels.LOOK):
        used = labels.LOOK.get(name) or getattr(labels, name)
        for times in (0.5, 1, 2):
            enter(name, type(used)(used * times))
            laid, *found = sum(counted(*one) for one in made)
            report(f"{name} {used * times:g}{' (in use)' * (times == 1)}", len(made), laid, *found)
        enter(name, used)


def enter(name, value):
    if name in labels.LOOK:
        labels.LOOK[name] = value
    else:
        setattr(labels, name, value)


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
    return counted(*shown(seed, kind, megapixels))


def shown(seed, kind, megapixels):
    picture, laid = labelled.photo(seed, kind, megapixels)
    photo = read.photo(picture.jpeg(), name="a.jpg")
    return photo, calibrate.find_card(photo), laid


def counted(photo, pose, laid):
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
    numbers = [float(a) for a in sys.argv[1:] if a != "vary"]
    (vary if "vary" in sys.argv else main)(*numbers)
