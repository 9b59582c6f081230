"""What the constants of predictions are worth: each by itself at half and at double.

``python tests/benchmarks/predict_priors.py [books] [first]``: books of `predict_overdyes.py`, in
both worlds, without and with overdyes of their own. For every prior of the Gaussian processes (its
deviation, on the logarithms that are fitted) and the three constants of overdyes, printed beside
the constants as they stand: share of new overdyed swatches inside their 90 % region, median ΔE00
from expected to true colour, and the median ΔE00 of left-out cloths.
"""

import sys
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).parent))
import predict_overdyes
from predict_overdyes import overdyes

from dyelab.predict import gp
from dyelab.predict import overdyes as over

PRIORS = ("SIZE", "WEIGHT", "KNEE", "LENGTH", "AMPLITUDE", "NUGGET", "POT")
SHARES = ("MISSED", "SAME", "TURNED")
TOLD = ["inside", "median", "single_error"]


def told(books, first):
    """Figures of some books, the worlds and numbers of overdyes together and apart."""
    rows = [
        predict_overdyes.judged(world, seed, twice)
        for world in overdyes.WORLDS
        for twice in (0, 12)
        for seed in range(first, first + books)
    ]
    return pd.DataFrame(rows)[TOLD].mean().round(3).tolist()


def changed(name, factor):
    """The module, its constant, and the constant at so many times its size."""
    if name in SHARES:
        return over, min(factor * getattr(over, name), 0.99)
    middle, deviation = getattr(gp, name)
    return gp, (middle, factor * deviation)


def main(books, first):
    print(f"{'':12}{'factor':>8}" + "".join(f"{name:>14}" for name in TOLD))
    told_ = told(books, first)
    print(f"{'as it is':12}{1:>8}" + "".join(f"{value:14}" for value in told_))
    for name in (*PRIORS, *SHARES):
        for factor in (0.5, 2.0):
            module, value = changed(name, factor)
            was = getattr(module, name)
            setattr(module, name, value)
            found = told(books, first)
            setattr(module, name, was)
            print(f"{name:12}{factor:8}" + "".join(f"{v:14}" for v in found), flush=True)


if __name__ == "__main__":
    given = [int(text) for text in sys.argv[1:]]
    main(*(given + [6, 300][len(given) :]))
