"""The printed report of a book: what is in it, what the metals did, how well it held."""

from typing import Any

import pandas as pd

from dyelab import table, words
from dyelab.handout import findings, variants
from dyelab.handout import page as parts
from dyelab.handout.metals import cautions

_MOVED = ["dose", "dye", "cloth", "dE00", "dE00_low", "dE00_high", "dL", "dC", "verdict"]


def report(bk: Any, own: parts.Own = parts.Own()) -> parts.Page:
    """Describe a whole book.

    Parameters
    ----------
    bk : Book
    own : Own

    Raises
    ------
    InputError
        If nothing in it has been measured as dyed.
    """
    from dyelab import book

    wide = book.wide(bk)
    found = findings.find(wide, bk.shared)
    source = variants.Source(bk, found.rows, found.made)
    title = getattr(bk, "title", "") or words.say("pages.report_title")
    blocks = [
        parts.Text(_summary(bk, found), "lead"),
        *_shifts(found),
        *_held(found.held),
        *_colours(found.made),
        *_faults(bk),
        parts.Heading(words.say("pages.method")),
        parts.Points(tuple(_method(found.rows))),
        parts.Caution(cautions(sorted(set(bk.steps["material"]) - {""}), source)),
    ]
    return own.page(title, blocks)


def _summary(bk: Any, found: findings.Findings) -> str:
    counts: dict[str, Any] = {
        "swatches": len(bk.swatches),
        "recipes": len(found.made),
        "readings": len(bk.readings),
    }
    said = [words.say("pages.report_lead", **counts)]
    for metal in variants.METALS:
        pairs = found.metals[(found.metals["metal"] == metal) & (found.metals["dye"] != "none")]
        if len(pairs):
            top = pairs.sort_values("dE00", ascending=False).iloc[0].to_dict()
            named = {"metal": words.say(f"pages.{metal}"), "dose": variants.dose(top.pop("dose"))}
            said.append(parts.opened(words.say("pages.report_metal", **named, **_said(top))))
    return " ".join(said)


def _said(row: dict[Any, Any]) -> dict[str, str]:
    values = {key: str(row[key]) for key in ("dye", "cloth", "moved", "verdict")}
    return {**values, "distance": findings.rounded(row)["dE00"]}


def _shifts(found: findings.Findings) -> list[Any]:
    blocks: list[Any] = []
    for metal in variants.METALS:
        pairs = found.metals[found.metals["metal"] == metal]
        if pairs.empty:
            continue
        rows = pairs.sort_values(["cloth", "dye", "dose"], kind="stable")
        shown = rows[_MOVED].assign(
            dose=rows["dose"].map(variants.dose),
            dye=rows["dye"].replace("none", words.say("pages.undyed")),
        )
        title = words.say("pages.report_did", metal=words.say(f"pages.{metal}"))
        blocks += [
            parts.Heading(title),
            parts.number_table(shown, words.say("pages.compared_pair")),
        ]
    return blocks


def _held(held: pd.DataFrame) -> list[Any]:
    if held.empty:
        return []
    shown = findings.grades(held)
    if shown.empty:
        return []
    screening = parts.Text(words.say("findings.screening"), "small")
    heading = parts.Heading(words.say("findings.held"))
    return [heading, parts.number_table(shown), screening]


def _colours(made: pd.DataFrame) -> list[Any]:
    blocks: list[Any] = [parts.NewPage()]
    for (fibre, dye), part in made.groupby(["fibre", "dye"], sort=False):
        labels = [variants.recipe(row, bare=True) for row in part.to_dict("records")]
        patches = parts.patches(part[[*table.LAB, *table.WHITE]], labels)
        name = words.say("pages.undyed") if dye == "none" else str(dye)
        said = parts.Heading(parts.opened(words.say("pages.dye_on", dye=name, cloth=fibre)))
        blocks += [said, parts.Chips(tuple(patches), columns=5, height_mm=11)]
    return blocks


def _faults(bk: Any) -> list[Any]:
    texts = list(bk.faults["text"]) if len(bk.faults) else []
    if not texts:
        return []
    more = [words.say("pages.more_faults", count=len(texts) - 20)] if len(texts) > 20 else []
    return [parts.Heading(words.say("pages.faults")), parts.Points((*texts[:20], *more))]


def _method(rows: pd.DataFrame) -> list[str]:
    illuminant, observer = table.one_white(rows)
    methods = ", ".join(sorted(set(rows["method"].astype(str))))
    white = f"{illuminant}/{observer}°"
    return [
        words.say("pages.method_colour", white=white, methods=methods),
        words.say("pages.method_interval"),
        words.say("pages.method_print"),
    ]
