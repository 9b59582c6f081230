"""Which mordant holds better, whether that is real, and what it costs in hue."""

import numpy as np
import pandas as pd
from scipy import special

from dyelab import compare, convert, table
from dyelab.compare import CANNOT_TELL, CHANCE, REAL
from dyelab.compare.verdicts import NO_REPLICATES, ONE_POT, OWN_POTS, holm
from dyelab.errors import InputError, choose
from dyelab.grade import scales

SWATCHES, READINGS = "replicate swatches", "readings alone"
ONE_LOAD = "one_load"
_LACKING = (NO_REPLICATES, ONE_POT, ONE_LOAD)
_ALIKE = 0.02  # of the colour: shares nearer than this are equal, by how the path is worked out


def compare_fastness(
    grades: pd.DataFrame, reference: str, *, by: str = "variant", confidence: float = 0.95
) -> pd.DataFrame:
    """Compare how far each variant changed with how far the reference did.

    Parameters
    ----------
    grades : DataFrame
        From `grades`, with the column `by`.
    reference : str
        A value of `by`, such as the alum variant.
    by : str
        Column that names the variant; its swatches are its replicates.
    confidence : float

    Returns
    -------
    DataFrame
        One row a variant, exposure and amount: `exposure, amount, unit, test, variant,
        reference, pieces, pots, loads` (the smaller count of the two), `change,
        reference_change` (mean ΔE_F), `grade, reference_grade` (of the means), `less_change`
        (positive: changed less), `less_low, less_high`, `left, reference_left` (share of the
        colour still there), `verdict` (``real``, ``chance``, ``cannot_tell``; Holm over the
        rows) with its `caveat`, `holds` (``better``, ``worse``, ``had_less`` where it changed
        less and kept no more of its colour, or blank), `basis`, and the cost before any test:
        `hue_dE00`, `hue_words` (reference to variant).

    Raises
    ------
    InputError
        If the reference isn't there, or was tested with no other variant.

    Notes
    -----
    That a piece changed can be said of one piece. That a recipe holds better needs pieces from
    two pots of each, and two wash loads or lamps: else the verdict is ``cannot_tell``. The
    scatter of the pieces' changes, pooled over the variants, makes the interval; where loads
    disagree more than that, they do.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> grades = grade.grades(grade.pair(book.wide(bk)), shared=bk.shared)
    >>> rows = grades[grades["dye"] == "madder"].assign(variant=grades["mordant"])
    >>> grade.compare_fastness(rows, "none")[["variant", "exposure", "verdict"]].head(1)
           variant exposure      verdict
    0  potash alum     wash  cannot_tell
    """
    table.need(grades, [by, "exposure", "amount", "difference"], "comparing fastness")
    choose(str(reference), grades[by].astype(str).unique(), by, "among the tested")
    span = grades["difference_high"] - grades["difference_low"]  # of 95 %
    rows = grades.assign(_u=span / (2 * 1.96))[grades["kind"].eq("change")]
    made = []
    for _, test in rows.groupby(["exposure", "amount", "unit"], sort=False, dropna=False):
        made += _one_test(test, str(reference), by, confidence)
    if not made:
        raise InputError(
            f"fastness: {reference!r} was tested with no other {by} beside it. "
            "Test at least two variants by the same amount."
        )
    result = pd.DataFrame(made)
    return _judged(result, confidence)


def _one_test(test: pd.DataFrame, reference: str, by: str, confidence: float) -> list[dict]:
    groups = {str(name): part for name, part in test.groupby(by, sort=False)}
    if reference not in groups:
        return []
    scatter, freedom = _pooled(list(groups.values()))
    base = groups.pop(reference)
    told = test.iloc[0][["exposure", "amount", "unit"]].to_dict()
    told["test"] = ", ".join(sorted(set(test["test"].astype(str)) - {""}))
    made = []
    for name, part in groups.items():
        row = {**told, "variant": name, "reference": reference}
        row |= _less(base, part, scatter, freedom, confidence)
        row |= {"pots": min(map(_pots, (base, part)))}  # of the variant that has fewer
        row |= {"loads": min(one["test"].nunique() for one in (base, part))}
        row |= {"left": _share(part), "reference_left": _share(base)}
        made.append(row | _cost(base, part))
    return made


def _pooled(groups: list[pd.DataFrame]) -> tuple[float, int]:
    """Variance of one swatch's change about its variant's, and its degrees of freedom."""
    freedom = sum(part["swatch"].nunique() - 1 for part in groups)
    if not freedom:
        return np.nan, 0
    means = [part.groupby("swatch")["difference"].mean() for part in groups]
    return float(sum(((one - one.mean()) ** 2).sum() for one in means)) / freedom, freedom


def _less(
    base: pd.DataFrame, part: pd.DataFrame, scatter: float, freedom: int, confidence: float
) -> dict:
    means = [float(one["difference"].mean()) for one in (base, part)]
    counts = [one["swatch"].nunique() for one in (base, part)]
    variance, df = scatter * sum(1 / count for count in counts), float(freedom)
    if not freedom:  # by the readings' own noise
        variance = float(sum((one["_u"] ** 2).sum() / len(one) ** 2 for one in (base, part)))
        df = 1e9
    by_load, loads = _between_loads(base, part)
    if by_load > variance:
        variance, df = by_load, float(loads - 1)
    less, error = means[0] - means[1], np.sqrt(variance)
    reach = special.stdtrit(df, (1 + confidence) / 2) * error
    chance = 2 * special.stdtr(df, -abs(less) / error) if error > 0 else np.nan
    said = scales.change_of(means)[1]
    row = {"pieces": min(counts), "change": means[1], "reference_change": means[0]}
    row |= {"grade": said[1], "reference_grade": said[0]}
    row |= {"less_change": less, "less_low": less - reach, "less_high": less + reach}
    return row | {"basis": SWATCHES if freedom else READINGS, "_chance": chance}


def _between_loads(base: pd.DataFrame, part: pd.DataFrame) -> tuple[float, int]:
    """Variance of the mean difference by how the loads disagree on it, and their number."""
    means = [one.groupby("test")["difference"].mean() for one in (base, part)]
    apart = (means[0] - means[1]).dropna()
    return (float(apart.var() / len(apart)), len(apart)) if len(apart) > 1 else (0.0, len(apart))


def _pots(rows: pd.DataFrame) -> float:
    """How many pots these were dyed in; NaN where none are recorded."""
    named = rows.drop_duplicates("swatch")
    if "baths" not in rows or not named["baths"].astype(str).str.contains(r"=\S").any():
        return np.nan
    series = named["series"].astype(str) if "series" in named else ""
    return float((series + " " + named["baths"].astype(str)).nunique())


def _share(rows: pd.DataFrame) -> float:
    """Share of the colour still there: by the plainly faded colour nearest, else by chroma."""
    if "tone_left" in rows:
        told = pd.to_numeric(rows["tone_left"], errors="coerce")
        if told.notna().any():
            return float(told.mean())
    chroma = [np.hypot(rows[f"a{end}"], rows[f"b{end}"]).mean() for end in ("", "_before")]
    return float(chroma[0] / max(chroma[1], 1e-6))


def _cost(base: pd.DataFrame, part: pd.DataFrame) -> dict:
    """How far the two lie apart before any test."""
    before = [f"{name}_before" for name in table.LAB]
    swatches = (one.drop_duplicates("swatch") for one in (base, part))
    first, second = (own[before].to_numpy(float).mean(axis=0) for own in swatches)
    far, way = float(convert.dE00(first, second)), compare.direction(first, second)[0]
    return {"hue_dE00": far, "hue_words": way}


def _judged(result: pd.DataFrame, confidence: float) -> pd.DataFrame:
    chance = result.pop("_chance").to_numpy(float)
    told = np.isfinite(chance)
    real = np.zeros(len(result), bool)
    real[told] = holm(chance[told]) < 1 - confidence
    rows = result.to_dict("records")
    both = zip(rows, told, strict=True)
    caveat = [_caveat(row) if known else NO_REPLICATES for row, known in both]
    lacking = np.isin(caveat, _LACKING)
    verdict = np.where(real, REAL, CHANCE).astype(object)
    verdict[~told | lacking] = CANNOT_TELL
    found = zip(rows, verdict, strict=True)
    holds = [_holds(row) if said == REAL else "" for row, said in found]
    return result.assign(verdict=verdict, caveat=caveat, holds=holds)


def _caveat(row: dict) -> str:
    """What a verdict on recipes lacks or hangs on."""
    if row["pieces"] < 2:
        return NO_REPLICATES
    if row["pots"] < 2:
        return ONE_POT
    if row["loads"] < 2:
        return ONE_LOAD
    return OWN_POTS if np.isnan(row["pots"]) else ""


def _holds(row: dict) -> str:
    """Better only with another grade, and with at least as much of the colour left."""
    if row["grade"] == row["reference_grade"]:
        return ""
    kept_more = row["left"] >= row["reference_left"] - _ALIKE
    if row["less_change"] > 0:
        return "better" if kept_more else "had_less"
    return "worse"
