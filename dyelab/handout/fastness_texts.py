"""What the fastness page and panel say of grades, curves and mordants, as tables and sentences."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from dyelab import compare, grade, shift, words
from dyelab.handout import colours
from dyelab.plot import fastness as drawn

_VERDICTS = (grade.MET, grade.NOT_MET, grade.NOT_SETTLED)
_GRADES = ["recipe", "after", "difference", "span", "said", "verdict", "dE00", "moved"]


def name(row: dict[Any, Any], *, bare: bool = False) -> str:
    """A swatch's code, or its area's name, with its recipe; `bare` as `colours.recipe` has it."""
    if not isinstance(row.get("dye"), str):
        return str(row["swatch"])
    return f"{row['swatch']}: {colours.recipe({**row, 'area': ''}, bare=bare)}"


def name_in(found: grade.Study, swatch: str, *, bare: bool = False) -> str:
    """The same of a swatch of a study."""
    row = found.grades[found.grades["swatch"].eq(swatch)].iloc[0]
    return name(row.to_dict(), bare=bare)


def after_what(row: dict[Any, Any]) -> str:
    """After what, for a sentence or a heading: ``after 10 washes``."""
    return words.say("pages.after_exposure", what=grade.exposure_text(row))


def grade_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Grades as a table for readers: what, after what, grade, verdict, which way."""
    ordered = rows.sort_values(["value", "swatch"], kind="stable")
    records = ordered.to_dict("records")
    made = ordered.assign(
        recipe=[name(row) for row in records],
        after=[grade.exposure_text(row) for row in records],
        span=[_interval(row) for row in records],
        verdict=[words.say(f"grade.{row['verdict']}") for row in records],
    )
    return made[_GRADES].reset_index(drop=True)


def by_recipe(graded: pd.DataFrame) -> pd.DataFrame:
    """Grades as a table of `cloth` and a column a test: those of each recipe's worst swatch."""
    worst = graded.sort_values("value", kind="stable").assign(cloth=shift.recipe_names)
    worst = worst.drop_duplicates(["cloth", "exposure", "amount", "unit"])
    when = list(map(after_what, worst.to_dict("records")))
    shown = worst.assign(when=when).pivot_table(
        index="cloth", columns="when", values="said", aggfunc="first"
    )
    return shown.rename_axis(columns=None).reset_index()


def _interval(row: dict[Any, Any]) -> str:
    low, high = row["difference_low"], row["difference_high"]
    return span(low, high) if np.isfinite(low) else ""


def span(low: float, high: float) -> str:
    """From least to most, to one decimal."""
    return words.say("fastness.span", low=f"{low:.1f}", high=f"{high:.1f}")


def by_cloth(found: grade.Study, named: Callable[[dict[Any, Any]], str]) -> pd.DataFrame:
    """Verdicts counted by cloth after each test (`grade.by_cloth`), with grades in words."""
    counted = []
    for exposure in found.exposures:
        one, last = grade.by_cloth(found, exposure, named), found.hardest(exposure)
        one["after"] = [grade.exposure_text(last.loc[at]) for at in one["at"]]
        one["grades"] = [
            _span(low, high) for low, high in zip(one["lowest"], one["highest"], strict=True)
        ]
        counted.append(one)
    return pd.concat(counted)[["cloth", "after", "swatches", *_VERDICTS, "grades", "least"]]


def _span(low: str, high: str) -> str:
    return low if low == high else words.say("fastness.span", low=low, high=high)


def least_changed(counted: pd.DataFrame) -> list[str]:
    """The cloths of each test that changed least, where there are several."""
    said = []
    for what, part in counted.groupby("after", sort=False):
        told = [
            words.say("fastness.of_cloth", **row) for row in part[part["least"]].to_dict("records")
        ]
        if len(part) > 1 and told:
            said.append(words.say("fastness.changed_least", after=what, cloths="; ".join(told)))
    return said


def outlook(found: grade.Study) -> pd.DataFrame:
    """When each piece's change shows, and when the grade asked for is lost."""
    rows = [
        {
            "swatch": one.swatch,
            "test": words.wording("fastness.", one.exposure),
            "change_shows": grade.moment_text(grade.shows(one), one.unit),
            "grade_lost": grade.moment_text(grade.fails(one, found.change), one.unit),
        }
        for one in found.drifts
    ]
    return pd.DataFrame(rows)


def staining_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Staining grades as a table for readers."""
    made = grade_table(rows).rename(columns={"difference": "dEGS"})
    ordered = rows.sort_values(["value", "swatch"], kind="stable")
    made.insert(1, "part", ordered["part"].to_numpy())
    return made.drop(columns=["dE00", "moved"])


def curve_rows(one: grade.Drift) -> pd.DataFrame:
    """Curves of one swatch: shape, rate, start, now, and the span forecast."""
    by, _ = drawn.scale_of(one.unit)
    told = grade.curve_table(one).to_dict("records")
    return pd.DataFrame([{"swatch": one.swatch, **_curve_row(row, by)} for row in told])


def _curve_row(row: dict[Any, Any], by: float) -> dict[str, Any]:
    shape = words.wording("fastness.shape_", row["shape"])
    key = "no_forecast" if row["declined"] else "span"
    ends = {end: f"{row[f'forecast_{end}']:.1f}" for end in ("low", "high")}
    return {
        "quantity": words.heading(row["quantity"]),
        "shape": shape if row["told"] else words.say("fastness.open_shape", shape=shape),
        "rate": _rate(row, by),
        "from_value": row["before"],
        "to_value": row["after"],
        "forecast": words.say(f"fastness.{key}", **ends),
    }


def _rate(row: dict[Any, Any], by: float) -> str:
    if not row["rate_of"]:
        return ""
    unit = by if row["rate_of"] == "k" else 1.0
    low, middle, high = (f"{row[n] * unit:.2g}" for n in ("rate_low", "rate", "rate_high"))
    return words.say(f"fastness.rate_{row['rate_of']}", middle=middle, low=low, high=high)


def comparison(found: grade.Study) -> pd.DataFrame:
    """Variants of one dye and cloth against the plainest, after the most they had."""
    if "dye" not in found.grades:
        return pd.DataFrame()
    factors = found.grades[[name for name in colours.FACTORS if name in found.grades]]
    variants = [colours.recipe(row, bare=True) for row in factors.to_dict("records")]
    named = found.grades.assign(variant=variants)
    told = grade.compare_with_plainest(named, shared=found.shared)
    return told.assign(cloth=told["dye"] + ", " + told["fibre"]) if len(told) else told


def by_mordant(told: pd.DataFrame) -> pd.DataFrame:
    """Which mordant holds better, as a table for readers."""
    records = told.to_dict("records")
    return pd.DataFrame(
        {
            "cloth": told["cloth"],
            "variant": told["variant"],
            "against": told["reference"],
            "after": [grade.exposure_text(row) for row in records],
            "grades": [f"{row['grade']} / {row['reference_grade']}" for row in records],
            "less_change": told["less_change"],
            "colour_left": [_shares(row) for row in records],
            "holds": [held_word(row) for row in records],
            "hue_cost": [f"{row['hue_dE00']:.1f}: {row['hue_words']}" for row in records],
        }
    )


def _shares(row: dict[Any, Any]) -> str:
    return f"{100 * row['left']:.0f} / {100 * row['reference_left']:.0f} %"


def held_word(row: dict[Any, Any]) -> str:
    """What a comparison came to, in a cell."""
    if not row["holds"]:
        return compare.in_words(row)
    return words.say(f"fastness.is_{row['holds']}") + compare.caveat_in_words(row)


def held_sentences(found: grade.Study, exposure: str) -> list[str]:
    """Which variant holds better under this exposure, and at what cost in hue."""
    told = comparison(found)
    if told.empty:
        return []
    return [_say_held(row) for row in told[told["exposure"].eq(exposure)].to_dict("records")]


def _say_held(row: dict[Any, Any]) -> str:
    kind = row["holds"] or ("alike" if row["verdict"] == compare.REAL else row["verdict"])
    kind = "other_way" if row["caveat"] == "other_way" else kind
    return words.say(
        f"fastness.holds_{kind}",
        variant=row["variant"],
        reference=row["reference"],
        after=grade.exposure_text(row),
        grades=words.say("fastness.against", one=row["grade"], other=row["reference_grade"]),
        left=_shares(row),
        verdict=compare.in_words(row),
        hanging=compare.caveat_in_words(row),
        cost=f"{row['hue_dE00']:.1f}",
        moved=row["hue_words"],
    )
