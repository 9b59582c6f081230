"""The printed report of a book: what the metals did to its dyes, all its colours, how they held."""

from collections import Counter
from typing import Any

import pandas as pd

from dyelab import compare, grade, shift, table, words
from dyelab.book import Book
from dyelab.handout import colours, fastness, fastness_texts
from dyelab.handout import page as parts
from dyelab.handout.sheets.series import strips
from dyelab.handout.sheets.worksheet import pick_pairs

_PAIRS = 12  # cloths of a metal shown before and after
_MOVED = ["dose", "dye", "cloth", "dE00", "dE00_low", "dE00_high", "dL", "dC", "verdict"]


def report(source: colours.Source, own: parts.Header = parts.Header()) -> parts.Page:
    """Describe a whole book.

    Parameters
    ----------
    source : Source
    own : Header
    """
    bk = source.book
    moved = {metal: source.pairs(metal) for metal in colours.METALS}
    blocks = [
        parts.Text(_did(moved), "lead"),
        parts.Text(_counts(source), "small"),
        *[block for metal in moved for block in _pairs(source, metal)],
        *strips(source, source.made_and_planned),
        *_grades_held(source.change_grades),
        *_shifts(moved),
        *_faults(bk),
        parts.Heading(words.say("pages.method")),
        parts.Points(tuple(_method(source))),
        parts.Caution(source.cautions(sorted(set(bk.steps["material"]) - {""}), doses=False)),
    ]
    title = source.title("pages.report_whole", "pages.report_title")
    return source.page(own, title, blocks)


def _did(moved: dict[str, pd.DataFrame]) -> str:
    """Which way each metal sent the dyed cloths, counting what is more than chance."""
    said = []
    for metal, pairs in moved.items():
        dyed = pairs[pairs["dye"] != "none"] if len(pairs) else pairs
        if dyed.empty:
            continue
        told = dyed[dyed["verdict"] == compare.REAL]
        ends = (told[[f"{end}_{name}" for name in table.LAB]].to_numpy() for end in ("from", "to"))
        codes = compare.direction_codes(*ends)
        ways = Counter(way for some in codes for way in some).most_common(2)
        went = words.say("family.and").join(
            words.say("pages.report_way", count=count, way=words.say(f"direction.{way}"))
            for way, count in ways
        )
        key = "did" if went else "cannot"
        given = {"metal": metal, "count": len(dyed), "went": went}
        given["hanging"] = compare.caveats_in_words(dyed)
        said.append(words.say(f"pages.report_{key}", **given))
    return " ".join(said) or words.say("pages.report_plain")


def _counts(source: colours.Source) -> str:
    return words.say(
        "pages.report_counts",
        swatches=int((~grade.is_reference(source.book.swatches)).sum()),
        recipes=len(source.all_recipes),
        measured=len(source.all_recipes) - len(source.unread_recipes),
        readings=len(source.book.readings),
    )


def _pairs(source: colours.Source, metal: str) -> list[Any]:
    """Each dyed cloth without the metal and with it, edge to edge."""
    found = pick_pairs(source, metal, len(source.made))
    dyed = source.pairs(metal)
    found = found[found["dye"] != "none"].head(_PAIRS) if len(found) else found
    patches: list[parts.Patch] = []
    for row in found.to_dict("records"):
        ends = source.made.iloc[[row["from_row"], row["to_row"]]]
        labels = [colours.cloth(row), words.say("pages.with", what=row["level"])]
        notes = ["", f"{row['moved']}, {compare.in_words(row, said=True)}"]
        patches += source.patches(ends.to_dict("records"), labels, notes)
    if not patches:
        return []
    count = int((dyed["dye"] != "none").sum())
    key = "pairs" if count == len(found) else "some"
    told = words.say(f"pages.report_{key}", metal=metal, shown=len(found), count=count)
    return [parts.Heading(told), parts.Chips(tuple(patches), 6, 13, touching=True, pairs=True)]


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
        caption = f"{words.say('pages.compared_pair')} {words.say('pages.in_hue')}"
        blocks.append(parts.Heading(words.say("pages.report_moved", metal=metal)))
        blocks.append(parts.number_table(shown, parts.with_step(caption)))
    return blocks


def _grades_held(graded: pd.DataFrame) -> list[Any]:
    """Change grades after the hardest exposure of each kind, one row a recipe."""
    if graded.empty or grade.is_reference(graded).all():
        return []
    worn = graded[~grade.is_reference(graded)]
    by, shown = words.say(f"fastness.by_{fastness.basis(worn)}"), fastness_texts.by_recipe(worn)
    screening = parts.Text(words.say("fastness.eye", basis=by), "small")
    heading = parts.Heading(words.say("pages.held"))
    return [heading, parts.number_table(shown, words.say("pages.worst")), screening]


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
