"""Light fastness by blue wool references: measured beside the sample, or guessed from the dose."""

import re

import numpy as np
import pandas as pd

from dyelab import numerics, table, words
from dyelab.errors import InputError
from dyelab.grade import scales

NOTICED = 1.7  # ΔE_F of grade 4 on the grey scale for change (ISO 105-A02)
# Dose in lx h to a just noticeable fade of references 1 to 8: CIE 157:2004, from memory.
WITH_UV = (0.22e6, 0.6e6, 1.5e6, 3.5e6, 8e6, 20e6, 50e6, 120e6)
WITHOUT_UV = (0.3e6, 1e6, 3e6, 10e6, 30e6, 100e6, 300e6, 1100e6)
_DRAWS = 1000  # the ends of a 95 % interval then wander by a fiftieth of its width
# References: each takes two and a half times the light of the one before, so an interval wider
# than this leaves open whether a cloth lasts six times as long, which is no answer. A judgement.
_TOO_WIDE = 2.0
_HARDLY = 0.05  # of a reference: less than is said
_KEPT = ["swatch", "amount", "unit", "difference"]
_SAME_DOSE = 0.02  # relative: light meters of one make agree no better


def is_reference(frame: pd.DataFrame) -> pd.Series:
    """Which rows are blue wool references: fibre ``blue wool``, whatever stands behind it.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> int(grade.is_reference(book.wide(bk)).sum())
    40
    """
    if "fibre" not in frame:
        return pd.Series(False, index=frame.index)
    return frame["fibre"].astype(str).str.casefold().str.startswith("blue wool")


def nearest_reference(
    grades: pd.DataFrame, *, confidence: float = 0.95, seed: int = 0
) -> pd.DataFrame:
    """Find the reference that changed as each sample did, at the same dose.

    Parameters
    ----------
    grades : DataFrame
        From `grades`, with the references among the rows: their fibre is ``blue wool`` and
        their swatch code ends in their number (``BW4``).
    confidence : float
    seed : int
        Of the draws that carry the readings' noise into the interval.

    Returns
    -------
    DataFrame
        One row a sample and dose: `swatch, amount, unit, difference, reference,
        reference_low, reference_high` (interpolated in the logarithm of ΔE_F), `edge` (``below``
        or ``above`` where the sample lies outside the references that were read), `best` (the
        dose nearest to a change of grade 4, where ISO 105-B02 makes the assessment), `said`.

    Raises
    ------
    InputError
        If fewer than two references were read, or none at a sample's dose.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> grades = grade.grades(grade.pair(book.wide(bk)), shared=bk.shared)
    >>> list(grade.nearest_reference(grades).columns[:4])
    ['swatch', 'amount', 'unit', 'difference']
    """
    light = grades[grades["exposure"].eq("light") & grades["kind"].eq("change")]
    beside = light[is_reference(light)].assign(number=lambda rows: rows["swatch"].map(_number))
    samples = light[~is_reference(light)]
    if beside["number"].nunique() < 2:
        raise InputError(words.say("grade.no_references"))
    rng = np.random.default_rng(seed)
    rows = []
    for _, group in samples.groupby(["amount", "unit"], sort=False):
        amount, unit = float(group["amount"].iloc[0]), str(group["unit"].iloc[0])
        same = np.isclose(beside["amount"].to_numpy(float), amount, rtol=_SAME_DOSE)
        there = beside[same & beside["unit"].eq(unit)]
        there = there.sort_values("number").drop_duplicates("number")
        if len(there) > 1:
            rows += _place_group(group, there, confidence, rng)
    if not rows:
        raise InputError(words.say("grade.no_dose_alike"))
    made = pd.DataFrame(rows)
    far = np.log(np.maximum(made["difference"].astype(float), 1e-6) / NOTICED).abs()
    return made.assign(best=far == far.groupby(made["swatch"]).transform("min"))


def _number(swatch: str) -> int:
    found = re.search(r"(\d+)\D*$", str(swatch))
    if not found or not 1 <= int(found.group(1)) <= 8:
        raise InputError(words.say("grade.reference_name", swatch=swatch))
    return int(found.group(1))


def _place_group(
    group: pd.DataFrame, there: pd.DataFrame, confidence: float, rng: np.random.Generator
) -> list[dict]:
    """Place the samples of one dose among its references."""
    numbers = there["number"].to_numpy(float)
    known = there["difference"].to_numpy(float)
    cloud, clouds = _draw(there, rng), _draw(group, rng)
    rows = []
    for i, row in enumerate(group[_KEPT].to_dict("records")):
        middle, edge = _place(np.array([row["difference"]]), known[None], numbers)
        places, _ = _place(clouds[:, i], cloud, numbers)
        tails = [(1 - confidence) / 2, (1 + confidence) / 2]
        low, high = np.quantile(places, tails) if np.isfinite(places).all() else (np.nan, np.nan)
        told = {"reference": middle[0], "reference_low": low, "reference_high": high}
        said = _say(middle[0], low, high, str(edge[0]))
        rows.append({**row, **told, "edge": str(edge[0]), "said": said})
    return rows


def _draw(rows: pd.DataFrame, rng: np.random.Generator) -> np.ndarray:
    """Differences ΔE_F as noise would have them: (draws, n); NaN where the noise isn't known."""
    before = rows[[f"{name}_before" for name in table.LAB]].to_numpy(float)
    after = rows[table.LAB].to_numpy(float)
    spread = table.covariances(rows)
    unknown = ~np.isfinite(spread).all(axis=(1, 2))
    root = numerics.root(np.where(unknown[:, None, None], 0.0, spread))
    noise = np.einsum("nij,dnj->dni", root, rng.normal(size=(_DRAWS, len(rows), 3)))
    drawn = scales.grey_scale_difference(before, after + noise)
    return np.where(unknown, np.nan, drawn)


def _place(
    sample: np.ndarray, references: np.ndarray, numbers: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Number between the references, by the logarithm of the change: (draws,) each.

    A higher reference that reads as more changed than a lower one is noise: held to it.
    """
    steps = np.log(np.maximum(np.minimum.accumulate(references, axis=1), 1e-6))
    at = np.log(np.maximum(sample, 1e-6))
    right = np.clip((steps > at[:, None]).sum(axis=1), 1, len(numbers) - 1)
    rows = np.arange(len(steps))
    rows = rows if len(rows) > 1 else np.zeros(len(at), int)
    upper, lower = steps[rows, right - 1], steps[rows, right]
    share = np.clip((upper - at) / np.maximum(upper - lower, 1e-9), 0, 1)
    place = numbers[right - 1] + share * (numbers[right] - numbers[right - 1])
    edge = np.where(at > steps[:, 0], "below", np.where(at < steps[:, -1], "above", ""))
    return place, edge


def _say(middle: float, low: float, high: float, edge: str) -> str:
    if high - low > _TOO_WIDE:
        return words.say("grade.reference_unsure", low=f"{low:.0f}", high=f"{high:.0f}")
    if edge:
        inward = "_or" if high - low > _HARDLY else ""  # the noise reaches past the end read
        ends = {"low": f"{low:.1f}", "high": f"{high:.1f}"}
        return words.say(f"grade.{edge}_reference{inward}", number=f"{middle:.0f}", **ends)
    span = words.say("grade.span", low=f"{low:.1f}", high=f"{high:.1f}") if low == low else ""
    if abs(middle - round(middle)) < 0.25:
        return (
            words.say("grade.like_reference", number=f"{middle:.0f}", value=f"{middle:.1f}") + span
        )
    pair = {"low": f"{np.floor(middle):.0f}", "high": f"{np.ceil(middle):.0f}"}
    return words.say("grade.between_references", value=f"{middle:.1f}", **pair) + span


def from_dose(dose: float, *, uv: bool = True) -> tuple[float, str]:
    """Reference that just fades at this dose, by CIE 157's table: an estimate.

    Parameters
    ----------
    dose : float
        In lx h, at which the sample's change was noticed.
    uv : bool
        Whether the light held ultraviolet (daylight); False behind a filter that takes it out.

    Returns
    -------
    reference : float
        Interpolated in the logarithm of the dose; 1 or 8 at the table's ends.
    edge : str
        ``below`` or ``above`` where the dose lies outside the table.

    Notes
    -----
    The table's values are from memory, and lamps differ: a reference beside the sample is
    better.

    Examples
    --------
    >>> from dyelab import grade
    >>> round(grade.from_dose(1e6)[0], 1)
    2.6
    """
    if not dose > 0:
        raise InputError(f"blue wool: dose = {dose} lx h. Give a dose above 0.")
    doses = np.array(WITH_UV if uv else WITHOUT_UV)
    edge = "below" if dose < doses[0] else "above" if dose > doses[-1] else ""
    return float(np.interp(np.log(dose), np.log(doses), np.arange(1, 9))), edge
