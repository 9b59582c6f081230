"""The mordant sheet: one dye on one cloth, everything that was put with it."""

from dataclasses import replace
from typing import Any

import pandas as pd

from dyelab import shift, table, words
from dyelab.errors import InputError
from dyelab.handout import colours
from dyelab.handout import page as parts
from dyelab.handout.metal_texts import change_words

_ABREAST, _HIGH = 5, 16  # chips in a row, mm
_METALS = list(shift.METALS.values())
_ORDER = ["tannin", "metals", "mordant", "mordant_wof", *_METALS, "dye_wof"]


def sheet(
    source: colours.Source, own: parts.Header = parts.Header(), *, fibre: str, dye: str
) -> parts.Page:
    """Chips, numbers and one sentence each, compared with the cloth before the last addition.

    Parameters
    ----------
    source : Source
    own : Header
        The teacher's title, text, logo and paper.
    fibre, dye : str
        As in the book.

    Returns
    -------
    Page

    Raises
    ------
    InputError
        If this dye was not measured on this fibre.
    """
    if colours.rows_with(source.made, fibre=fibre, dye=dye).empty:
        raise InputError(words.say("pages.no_dye", dye=dye, fibre=fibre))
    found = colours.rows_with(source.made_and_planned, fibre=fibre, dye=dye)
    found = found.assign(metals=shift.with_metal(found))
    rows = found.sort_values(_ORDER, kind="stable", key=colours.none_first).to_dict("records")
    lead = words.say("pages.mordants_lead", fibre=fibre, **_dose(dye, rows))
    blocks: list[Any] = [
        *_most(source, rows, dye),
        parts.Text(parts.with_step(lead)),
        *_groups(source, rows),
        parts.Heading(words.say("pages.numbers")),
        _numbers(source, rows),
        parts.Caution(source.cautions_of(rows)),
    ]
    title = words.say("pages.mordants_title", dye=dye, fibre=fibre)
    return source.page(own, title, blocks)


def _dose(dye: str, rows: list[dict[Any, Any]]) -> dict[str, str]:
    """The dye, with its dose where all cloths had the same: their labels then leave it out."""
    doses = {row["dye_wof"] for row in rows}
    if len(doses) > 1:
        return {"dye": dye, "doses": words.say("pages.mordants_doses")}
    return {"dye": dye if " + " in dye else shift.dose_text(dye, *doses), "doses": ""}


def _change(source: colours.Source, row: dict[Any, Any]) -> dict[Any, Any]:
    """What the last thing added did; empty where the cloth without it was not dyed."""
    return {} if pd.isna(row["variant"]) else source.last_additions.get(int(row["variant"]), {})


def _most(source: colours.Source, rows: list[dict[Any, Any]], dye: str) -> list[parts.Text]:
    """The sheet's one idea: which addition changed the colour most."""
    changes = [change for row in rows if (change := _change(source, row))]
    top = max(changes, key=lambda change: change["dE00"], default=None)
    if top is None:
        return [parts.Text(words.say("pages.mordants_alone", dye=dye), "lead")]
    said = words.say("pages.mordants_most", dye=dye, what=top["level"], **change_words(top))
    return [parts.Text(said, "lead")]


def _groups(source: colours.Source, rows: list[dict[Any, Any]]) -> list[Any]:
    """Each cloth beside those that had one thing more; then what stands beside nothing."""
    patches = source.patches(rows, colours.addition_labels(rows))
    starts: dict[Any, list[int]] = {}
    for at, row in enumerate(rows):
        starts.setdefault(_change(source, row).get("from_row"), []).append(at)
    alone = starts.pop(None, [])
    blocks: list[Any] = []
    for at, row in enumerate(rows):
        added = starts.get(row["variant"], [])
        if added:
            told = words.say("pages.beside", reference=patches[at].label)
            blocks.append(parts.Heading(parts.capital(told)))
            first = replace(patches[at], note=words.say("pages.start"))
            blocks += _strips(first, [_tell(source, rows[i], patches[i]) for i in added])
    rest = [patches[at] for at in alone if rows[at]["variant"] not in starts]
    if rest:
        blocks.append(parts.Heading(words.say("pages.beside_nothing")))
        blocks.append(parts.Chips(tuple(rest), columns=_ABREAST, height_mm=_HIGH))
    return blocks


def _tell(source: colours.Source, row: dict[Any, Any], patch: parts.Patch) -> parts.Patch:
    """A patch of what was added, with what that did."""
    change = _change(source, row)
    said = words.say("pages.did", **change_words(change))
    return replace(patch, label=words.say("pages.with", what=change["level"]), note=said)


def _strips(first: parts.Patch, added: list[parts.Patch]) -> list[parts.Chips]:
    """Rows edge to edge; each begins with the cloth that the others are compared with."""
    room = _ABREAST - 1
    parted = [added[at : at + room] for at in range(0, len(added), room)]
    return [
        parts.Chips((first, *some), columns=_ABREAST, height_mm=_HIGH, touching=True)
        for some in parted
    ]


def _numbers(source: colours.Source, rows: list[dict[Any, Any]]) -> parts.NumberTable:
    blank = float("nan")
    shown = [
        {
            "recipe": label,
            **{name: float(row[name]) for name in table.LAB},
            **{n: _change(source, row).get(n, blank) for n in ("dL", "dC", "dH", "dE00")},
            "pieces": int(row["pieces"]),
        }
        for row, label in zip(rows, colours.addition_labels(rows), strict=True)
    ]
    told = pd.DataFrame(shown).dropna(axis=1, how="all")
    return parts.number_table(
        told, f"{words.say('pages.compared')} {words.say('pages.in_hue')}" if "dE00" in told else ""
    )
