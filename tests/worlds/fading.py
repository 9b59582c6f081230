"""Fading by six laws, in CIELAB: truths for curves and forecasts, built apart from the fit.

Four laws are those every tool of this kind knows; two are not: fading that only sets in after a
while (two steps one after the other, as where a finish must go first), and dye in three states,
each with its own rate. Giles found such kinds among dyed cloths beside plain and two-rate fading
(J. Appl. Chem. 1965, 15, 541; from memory). Two more are strange to the fit altogether. Colour
doesn't run straight either: the path bends, since the share of dye left moves lightness, chroma
and hue by its own laws. Everything here is invented.
"""

import numpy as np
import pandas as pd

from dyelab import convert, table

LAWS = ("first order", "two rates", "power of dose", "logarithm", "induction", "three rates")
FOREIGN = ("induction", "three rates")
STRANGE = ("plateau", "half spent")  # added after the fit was settled, never used to set it
DOSES = {6: np.array([0, 0.05, 0.15, 0.35, 0.65, 1.0]), 11: np.linspace(0, 1, 11)}
NOISES = (0.05, 0.15, 0.4, 0.8)  # standard deviation of L*, a*, b* each


def share_gone(law: str, rng: np.random.Generator):
    """Share of the dye gone by dose, 1 at dose 1, as a function of dose."""
    made = _LAWS[law](rng)
    return lambda x: made(np.asarray(x, float)) / made(1.0)


def _first_order(rng):
    k = np.exp(rng.uniform(np.log(0.3), np.log(5)))
    return lambda x: -np.expm1(-k * x)


def _two_rates(rng):
    fast, slow, part = rng.uniform(2, 20), rng.uniform(0.03, 0.6), rng.uniform(0.2, 0.7)
    return lambda x: -part * np.expm1(-fast * x) - (1 - part) * np.expm1(-slow * x)


def _power(rng):
    exponent = rng.uniform(0.3, 1.2)
    return lambda x: x**exponent


def _logarithm(rng):
    scale = np.exp(rng.uniform(0, 5))
    return lambda x: np.log1p(scale * x)


def _induction(rng):
    one, two = rng.uniform(2, 12), rng.uniform(0.4, 1.8)
    return lambda x: 1 - (one * np.exp(-two * x) - two * np.exp(-one * x)) / (one - two)


def _three_rates(rng):
    rates = rng.uniform(8, 40), rng.uniform(1, 5), rng.uniform(0.03, 0.5)
    parts = rng.dirichlet([2, 2, 4])
    return lambda x: sum(-p * np.expm1(-r * x) for p, r in zip(parts, rates, strict=True))


def _plateau(rng):
    """Change in step with the square of the dose over a square: slow, steep, then level."""
    half = rng.uniform(0.3, 1.5)
    return lambda x: x**1.5 / (half**1.5 + x**1.5)


def _half_spent(rng):
    """A constant rate that halves where a surface layer is spent, within what is read."""
    corner, left = rng.uniform(0.2, 0.7), rng.uniform(0.2, 0.6)
    return lambda x: np.minimum(x, corner) + left * np.maximum(x - corner, 0)


_LAWS = dict(
    zip(
        (*LAWS, *STRANGE),
        (
            *(_first_order, _two_rates, _power, _logarithm, _induction, _three_rates),
            *(_plateau, _half_spent),
        ),
        strict=True,
    )
)


def path(law: str, seed: int, bend: float = 0.15):
    """CIELAB by dose (q,) to (q, 3): a cloth that changes by 2 to 12 CIELAB units at dose 1."""
    rng = np.random.default_rng(seed)
    gone, turn = share_gone(law, rng), rng.uniform(0, 2 * np.pi)
    chroma, size = rng.uniform(15, 45), np.exp(rng.uniform(np.log(2), np.log(12)))
    start = np.array([rng.uniform(30, 70), chroma * np.cos(turn), chroma * np.sin(turn)])
    way = np.array([rng.uniform(0.2, 1), -np.cos(turn), -np.sin(turn)]) + rng.normal(0, 0.3, 3)
    way *= size / np.linalg.norm(way)
    across = np.cross(way, rng.normal(size=3))
    across *= bend * size / np.linalg.norm(across)

    def lab(x: np.ndarray) -> np.ndarray:
        f = gone(x)[:, None]
        return start + f * way + f * (1 - np.minimum(f, 2) / 2) * 2 * across

    return lab


def read(law: str, seed: int, count: int, noise: float, stated: bool) -> pd.DataFrame:
    """Readings of one invented cloth over its doses, 0 to 1, with or without stated noise."""
    doses, lab = DOSES[count], path(law, seed)
    rng = np.random.default_rng([seed, count, int(1000 * noise)])
    frame = pd.DataFrame(lab(doses) + noise * rng.normal(size=(count, 3)), columns=table.LAB)
    frame = frame.assign(
        reading=[f"r{i}" for i in range(count)],
        swatch="S",
        exposure=["none"] + ["light"] * (count - 1),
    )
    frame = frame.assign(amount=doses, unit="h", method="typed", illuminant="D65", observer=10)
    return frame.assign(u_L=noise, u_a=noise, u_b=noise) if stated else frame


def true_change(law: str, seed: int, dose: float, formula=convert.dE00) -> float:
    """True difference from before at a dose."""
    ends = path(law, seed)(np.array([0.0, dose]))
    return float(formula(ends[0], ends[1]))
