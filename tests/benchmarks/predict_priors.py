"""What the constants of predictions are worth: each by itself at half and at double.

``python tests/benchmarks/predict_priors.py [books] [first]``: books of `predict_overdyes.py`, in
both worlds, without and with overdyes of their own. For every prior of the Gaussian processes (its
deviation, on the logarithms that are fitted) and the three constants of overdyes, printed beside
the constants as they stand: share of new overdyed swatches inside their 90 % region, median ΔE00
from expected to true colour, and the median ΔE00 of left-out cloths.

``python tests/benchmarks/predict_priors.py settled [books] [first]``: what the parameters come to
in books of 30 and of 170 recipes, in both worlds (mean and deviation over books). The own world's
large books set the middles of `SIZE`, `KNEE` and `LENGTH`; a knee of -2.4, their mean over steps,
leaves errors of small books of that world 1 % larger than -2.8 to -3.8, which do alike.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parent))
import predict_overdyes
import predict_truth
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


def parameters(model):
    """Every parameter of a model by its name, the mean over scores."""
    names = ["amplitude", "nugget", "pot"]
    for kernel in model.process.kernels:
        own = ["size", *["weight"] * kernel.weights, *["knee", "length"] * kernel.dosed]
        names += [f"{kernel.step.name} {name}" for name in own]
    return pd.Series(model.process.p.mean(axis=0), names).groupby(level=0).mean()


def settled(books, first):
    """Parameters of small and of large books of both worlds."""
    found = {}
    for world in (predict_truth.dyed_worlds.Own, predict_truth.Dyehouse):
        for seed in range(first, first + books):
            recipes = world.recipes(170, np.random.default_rng(seed))
            for size in (30, 170):
                model = world(seed).learned(recipes.head(size).reset_index(drop=True))
                found[world.__name__, size, seed] = parameters(model)
    by_book = pd.DataFrame(found).T.groupby(level=[0, 1])
    for name in ("mean", "std"):
        print(name, by_book.agg(name).T.round(2).to_string(), sep="\n")


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
    job, given = main, sys.argv[1:]
    if given[:1] == ["settled"]:
        job, given = settled, given[1:]
    job(*([int(text) for text in given] + [6, 300][len(given) :]))
