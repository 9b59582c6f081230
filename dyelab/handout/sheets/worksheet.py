"""For the class: a worksheet to predict the shift, and check it."""

from typing import Any

import pandas as pd

from dyelab import compare, shift, table, words
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout import page as parts
from dyelab.handout.metal_texts import distance, metals


def worksheet(
    source: colours.Source,
    own: parts.Own = parts.Own(),
    *,
    metal: str = "iron",
    count: int = 5,
) -> parts.Page:
    """Predict what a metal does to each colour; the answers are on the last page.

    Parameters
    ----------
    source : Source
    own : Own
    metal : str
        ``iron`` or ``copper``.
    count : int
        Colours to ask about; fewer where the book has fewer.

    Raises
    ------
    InputError
        If no swatch differs from another by this metal alone.
    """
    found = asked(source, metal, count)
    if found.empty:
        raise InputError(words.say("pages.no_pairs", metal=metal))
    blocks: list[Any] = [parts.Text(words.say("pages.worksheet_lead", metal=metal), "lead")]
    answers: list[Any] = [parts.Heading(words.say("pages.answers"))]
    for number, row in enumerate(found.to_dict("records"), 1):
        before, after = source.made.iloc[[row["from_row"]]], source.made.iloc[[row["to_row"]]]
        blocks += _question(number, before, row, metal)
        answers += _answer(number, pd.concat([before, after]), row, metal)
    care = parts.Caution(source.cautions([colours.SALTS[metal]], children=True))
    end = [care, parts.NewPage(), *answers, parts.Text(words.say("pages.answers_note"), "small")]
    named = metal
    return own.page(
        words.say("pages.worksheet_title", metal=named),
        [*blocks, *end],
        white=source.white,
        how=source.how,
    )


def asked(source: colours.Source, metal: str, count: int) -> pd.DataFrame:
    """Matched pairs of many kinds: each dye and cloth once, at the dose most often dyed."""
    pairs = source.pairs(metal)
    if pairs.empty:
        return pairs
    usual = pairs["dose"].mode().iloc[0]
    near = pairs.assign(off=(pairs["dose"] - usual).abs()).sort_values("off", kind="stable")
    once = near.drop_duplicates(["dye", "cloth"]).sort_index()
    dyed = once[once["dye"] != "none"].drop_duplicates("dye")
    rest = once.drop(dyed.index)
    return pd.concat([dyed, rest]).head(count)


def name(row: dict[Any, Any]) -> str:
    dye = words.say("pages.undyed") if row["dye"] == "none" else row["dye"]
    return words.say("pages.dye_on", dye=dye, cloth=row["cloth"])


def _question(number: int, before: pd.DataFrame, row: dict[Any, Any], metal: str) -> list[Any]:
    lab = before[[*table.LAB, *table.WHITE]]
    (patch,) = parts.patches(lab, [words.say("pages.before")])
    guess = parts.Patch(words.say("pages.guess"))
    dose = metals(shift.doses_of(**{metal: row["dose"]}))
    question = words.say("pages.question", number=number, cloth=name(row), dose=dose)
    return [
        parts.Heading(question),
        parts.Chips((patch, guess), columns=4, height_mm=16, touching=True),
        parts.Rules(words.say("pages.tick"), 1),
    ]


def _answer(number: int, both: pd.DataFrame, row: dict[Any, Any], metal: str) -> list[Any]:
    dose = metals(shift.doses_of(**{metal: row["dose"]}))
    labels = [f"{number}. {words.say('pages.before')}", dose]
    patches = parts.patches(both[[*table.LAB, *table.WHITE]], labels)
    values = {"moved": row["moved"], "verdict": compare.in_words(row), "recipe": name(row)}
    said = words.say("pages.one", distance=distance(row), **values)
    return [
        parts.Chips(tuple(patches), columns=4, height_mm=12, touching=True),
        parts.Text(said),
    ]
