"""The verdict on each difference, allowing for how many there are, and what would settle it."""

from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from dyelab import words
from dyelab.compare.formulas import SIGNS
from dyelab.compare.interval import Noise
from dyelab.compare.noise import NOTHING, REPLICATES, Joint

REAL, CHANCE, CANNOT_TELL = "real", "chance", "cannot_tell"
NO_REPLICATES, ONE_POT, OWN_POTS = "no_replicates", "one_pot", "own_pots"

_POWER = 0.8  # chance of the verdict *real* that "would settle it" promises
_MOST = 50  # pots nobody will dye more of
_SAID = ["reference", "sample", "moved", "comparisons", "verdict", "caveat", "noise_floor"]
_SAID += ["basis", "more_swatches"]


def judge(
    result: pd.DataFrame,
    spread: Noise,
    pair: Joint,
    formula: str,
    confidence: float,
    replicates_needed: bool,
) -> pd.DataFrame:
    """Add the verdict with its reasons in words; corrected for number after Holm (1979).

    The chance that any difference among those shown is called real by noise alone is at most
    1 - confidence.
    """
    chance = result["chance_if_equal"].to_numpy(float)
    size = 1 - confidence
    result = result.assign(**verdict_of(chance, result, size, replicates_needed=replicates_needed))
    told = (result["verdict"] != CANNOT_TELL).to_numpy()
    unsettled = ((result["verdict"] == CHANCE) & (result["basis"] == REPLICATES)).to_numpy()
    more = np.where(result["verdict"] == REAL, 0.0, np.nan)
    have = result["pots"].to_numpy(float)[unsettled]
    distance = result[formula].to_numpy(float)[unsettled]
    each = size / max(int(told.sum()), 1)
    given = have, pair.df[unsettled], pair.share_of_pots[unsettled]
    more[unsettled] = _more_swatches(distance, spread[unsettled], *given, each)
    result = result.assign(comparisons=int(told.sum()), more_swatches=more)
    used = [*_SAID, formula, f"{formula}_low", f"{formula}_high"]
    rows = result[used].to_dict("records")
    said = [_sentence(row, formula, confidence) for row in rows]
    why = [_judgement(row, formula, 100 - 100 * confidence) for row in rows]
    return result.assign(judged=why, words=[f"{a} {b}" for a, b in zip(said, why, strict=True)])


def verdict_of(
    chance: np.ndarray, result: pd.DataFrame, size: float, *, replicates_needed: bool
) -> dict[str, np.ndarray]:
    """Return `verdict` and `caveat` of comparisons with their `basis`, `pieces`, `pots`, `assumed`.

    One pot an arm can't tell: its luck is in every swatch of it.
    """
    repeated = (result["basis"] == REPLICATES).to_numpy()
    single = (result["pots"] < 2).to_numpy() & (repeated | (result["pieces"] > 1).to_numpy())
    told = np.isfinite(chance) & (result["basis"] != NOTHING).to_numpy() & ~single
    if replicates_needed:
        told &= repeated
    verdict = np.full(len(result), CANNOT_TELL, object)
    verdict[told] = np.where(holm(chance[told]) < size, REAL, CHANCE)
    hangs = repeated & result["assumed"].to_numpy(bool)
    caveat = np.where(told, np.where(hangs, OWN_POTS, ""), np.where(single, ONE_POT, NO_REPLICATES))
    return {"verdict": verdict, "caveat": caveat}


def in_words(row: Any, *, said: bool = False) -> str:
    """Return the verdict of one row as a reader knows it: the code, and what it hangs on.

    With `said` as the end of a sentence, where "real" alone says nothing.

    Examples
    --------
    >>> from dyelab import compare
    >>> compare.in_words({"verdict": "real", "caveat": ""})
    'real'
    """
    key = "real_said" if said and row["verdict"] == REAL else row["verdict"]
    return words.say(f"verdict.{key}") + caveat_in_words(row)


def caveat_in_words(row: Any) -> str:
    """Return what the verdict of one row hangs on, to be put behind it; blank where on nothing.

    Examples
    --------
    >>> from dyelab import compare
    >>> compare.caveat_in_words({"verdict": "real", "caveat": "own_pots"})
    ', if each had its own pot'
    """
    caveat = row.get("caveat", "")
    return words.say(f"verdict.{caveat}") if caveat else ""


def caveats_in_words(pairs: pd.DataFrame) -> str:
    """Say how many verdicts *real* hold only if each swatch had its own pot; blank if none does.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import compare
    >>> pairs = pd.DataFrame({"verdict": ["real", "real"], "caveat": ["", "own_pots"]})
    >>> compare.caveats_in_words(pairs)
    ' (1 of them if each had its own pot)'
    """
    many = int((pairs["verdict"].eq(REAL) & pairs["caveat"].eq(OWN_POTS)).sum())
    return words.say("verdict.of_them", count=many) if many else ""


def readable(frame: pd.DataFrame) -> pd.DataFrame:
    """Put a table's verdicts into words, for showing; other columns stay as they are.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import compare
    >>> names, L = ["plain", "plain", "iron", "iron"], [50, 51, 40, 41]
    >>> cloths = pd.DataFrame({"sample": names, "L": L})
    >>> cloths = cloths.assign(a=20.0, b=10.0, illuminant="D65", observer=10)
    >>> compare.readable(compare.pairs(cloths, [("plain", "iron")]))["verdict"].tolist()
    ['real, if each had its own pot']
    """
    said = [in_words(row) for row in frame.to_dict("records")]
    return frame.assign(verdict=said).drop(columns="caveat", errors="ignore")


def holm(chances: np.ndarray) -> np.ndarray:
    """Chances corrected for their number, step by step (Holm 1979)."""
    order = np.argsort(chances)
    steps = np.arange(len(chances), 0, -1)
    corrected = np.minimum(1, np.maximum.accumulate(chances[order] * steps))
    result = np.empty_like(corrected)
    result[order] = corrected
    return result


def _more_swatches(
    distance: np.ndarray,
    spread: Noise,
    have: np.ndarray,
    df: np.ndarray,
    share: np.ndarray,
    size: float,
) -> np.ndarray:
    """How many more pots of each variant would show a difference as large as measured.

    With four chances in five; NaN where more than fifty would be needed. `share` is that of the
    noise which pots average away: what a camera gets wrong stays.
    """
    answer = np.full(len(distance), np.nan)
    for extra in range(_MOST, 0, -1):
        noise = spread.square / spread.trace * (1 - share * extra / (have + extra))
        near = np.minimum(spread.dimensions * (df + 2 * extra - 0.5), 1e4)
        bound = special.fdtri(spread.dimensions, near, 1 - size) * spread.dimensions
        power = 1 - special.chndtr(bound, spread.dimensions, distance**2 / noise)
        answer = np.where(power >= _POWER, extra, answer)
    return answer


def _sentence(row: dict, formula: str, confidence: float) -> str:
    low, high = row[f"{formula}_low"], row[f"{formula}_high"]
    known = np.isfinite(low) and np.isfinite(high)
    ends = {"percent": f"{100 * confidence:g}", "low": f"{low:.1f}", "high": f"{high:.1f}"}
    values = {name: row[name] for name in ("sample", "reference", "moved")}
    values |= {"sign": SIGNS[formula], "distance": f"{row[formula]:.1f}"}
    return words.say(
        "compare.difference", span=words.say("compare.span", **ends) if known else "", **values
    )


def _judgement(row: dict, formula: str, size: float) -> str:
    if row["verdict"] == CANNOT_TELL:
        return words.say(f"compare.{row['caveat']}")
    stated = "" if row["basis"] == REPLICATES else "_stated"
    kind = stated or ("_own_pots" if row["caveat"] == OWN_POTS else "")
    many, real = row["comparisons"], row["verdict"] == REAL
    told = {"floor": f"{row['noise_floor']:.1f}", "size": f"{size:g}", "number": many}
    told["allowed"] = words.say("compare.allowed", number=many) if many > 1 else ""
    passed = row[formula] > row["noise_floor"]  # which one of many may by luck
    what = "rarely" + stated if real else "can_many" if passed else "can" + stated
    said = words.say(f"compare.{row['verdict']}{kind}", luck=words.say(f"compare.{what}", **told))
    if real or stated:
        return said
    more = row["more_swatches"]
    key, count = ("more", int(more)) if np.isfinite(more) else ("too_many", 0)
    return f"{said} {words.say(f'compare.{key}', number=count)}"
