"""The printed report of a book: what is in it, what the metals did, how well it held."""

from typing import Any

import pandas as pd

from dyelab import book, compare, grade, shift, table, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.handout import colours, fastness
from dyelab.handout import page as parts
from dyelab.handout.sheets.worksheet import name

_MOVED = ["dose", "dye", "cloth", "dE00", "dE00_low", "dE00_high", "dL", "dC", "verdict"]


def report(bk: Book, own: parts.Own = parts.Own()) -> parts.Page:
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
    source, wide = colours.source(bk), book.wide(bk)
    moved = {metal: source.pairs(metal) for metal in colours.METALS}
    title = getattr(bk, "title", "") or words.say("pages.report_title")
    blocks = [
        parts.Text(_summary(source, moved), "lead"),
        *_shifts(moved),
        *_held(wide, source.shared),
        *_colours(source.planned),
        *_faults(bk),
        parts.Heading(words.say("pages.method")),
        parts.Points(tuple(_method(source))),
        parts.Caution(source.cautions(sorted(set(bk.steps["material"]) - {""}))),
    ]
    return own.page(title, blocks, white=source.white, how=source.how)


def _summary(source: colours.Source, moved: dict[str, pd.DataFrame]) -> str:
    counts: dict[str, Any] = {
        "swatches": int((source.book.swatches["fibre"] != colours.REFERENCE_FIBRE).sum()),
        "recipes": len(source.listed),
        "measured": len(source.listed) - len(source.unread),
        "readings": len(source.book.readings),
    }
    said = [words.say("pages.report_lead", **counts)]
    for metal, pairs in moved.items():
        dyed = pairs[pairs["dye"] != "none"] if len(pairs) else pairs
        if len(dyed):
            top = dyed.sort_values("dE00", ascending=False).iloc[0].to_dict()
            named = {key: str(top[key]) for key in ("dye", "cloth", "moved")}
            named["verdict"] = compare.in_words(top, said=True)
            numbers = {"dose": colours.dose(top["dose"]), "distance": f"{top['dE00']:.1f}"}
            told = words.say("pages.report_metal", metal=metal, **named, **numbers)
            said.append(parts.opened(told))
    return " ".join(said)


def _shifts(moved: dict[str, pd.DataFrame]) -> list[Any]:
    blocks: list[Any] = []
    for metal, pairs in moved.items():
        if pairs.empty:
            continue
        rows = pairs.sort_values(["cloth", "dye", "dose"], kind="stable")
        shown = compare.readable(rows)[_MOVED].assign(
            dose=rows["dose"].map(colours.dose),
            dye=rows["dye"].replace("none", words.say("pages.undyed")),
        )
        title = words.say("pages.report_did", metal=metal)
        blocks.append(parts.Heading(title))
        blocks.append(parts.number_table(shown, parts.seen(words.say("pages.compared_pair"))))
    return blocks


def _held(wide: pd.DataFrame, shared: pd.DataFrame | None) -> list[Any]:
    """Change grades after the hardest exposure of each kind, one row a recipe: the worst swatch."""
    try:
        graded = grade.grades(grade.matched(wide), shared=shared)
    except InputError:  # a book need not have been washed or lit
        return []
    change = graded[(graded["kind"] == "change") & (graded["fibre"] != colours.REFERENCE_FIBRE)]
    last = change["amount"] == change.groupby("exposure")["amount"].transform("max")
    worst = change[last].sort_values("value", kind="stable")
    if worst.empty:
        return []
    when = [_when(row) for row in worst.to_dict("records")]
    shown = worst.assign(cloth=shift.label(worst), when=when).pivot_table(
        index="cloth", columns="when", values="said", aggfunc="first"
    )
    shown = shown.rename_axis(columns=None).reset_index()
    by = words.say(f"fastness.by_{fastness.basis(change)}")
    screening = parts.Text(words.say("fastness.eye", basis=by), "small")
    heading = parts.Heading(words.say("pages.held"))
    return [heading, parts.number_table(shown, words.say("pages.worst")), screening]


def _when(row: dict[Any, Any]) -> str:
    return words.say("pages.after_exposure", what=grade.exposure_text(pd.Series(row)))


def _colours(made: pd.DataFrame) -> list[Any]:
    blocks: list[Any] = []
    for (fibre, dye), part in made.groupby(["fibre", "dye"], sort=False):
        labels = colours.labels(part.to_dict("records"))
        patches = parts.patches(part[[*table.LAB, *table.WHITE]], labels)
        said = parts.Heading(parts.opened(name({"dye": dye, "cloth": fibre})))
        blocks += [said, parts.Chips(tuple(patches), columns=5, height_mm=11)]
    return blocks


def _faults(bk: Book) -> list[Any]:
    texts = list(bk.faults["text"]) if len(bk.faults) else []
    if not texts:
        return []
    more = [words.say("pages.more_faults", count=len(texts) - 20)] if len(texts) > 20 else []
    return [parts.Heading(words.say("pages.faults")), parts.Points((*texts[:20], *more))]


def _method(source: colours.Source) -> list[str]:
    rows = source.rows
    illuminant, observer = table.one_white(rows)
    methods = ", ".join(map(shift.way_text, sorted(set(rows["method"].astype(str)))))
    white = f"{illuminant}/{observer}°"
    return [
        words.say("pages.method_colour", white=white, methods=methods),
        *source.notes,
        words.say("pages.method_interval"),
        words.say("pages.method_print"),
    ]
