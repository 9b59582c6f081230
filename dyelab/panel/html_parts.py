"""HTML of a panel's parts. Every text of the user's own is escaped here, in one place."""

import base64
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from html import escape
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
import pandas as pd

from dyelab import words
from dyelab.handout.page import cell, number_table
from dyelab.plot import style
from dyelab.table import LAB

SAVED = "saved"  # folder beside the notebooks
_ROOMY = 12  # groups of patches up to which each has room


@dataclass(frozen=True)
class Chip:
    """A patch of screen colour with its label and L* a* b*; `lab` None means not dyed yet.

    `crop` is a PNG picture of the cloth itself, shown in the patch's upper half.
    """

    label: str
    lab: tuple[float, ...] | None = None
    note: str = ""
    illuminant: str = "D65"
    observer: int = 10
    crop: bytes = b""

    @classmethod
    def of(cls, row: Any, label: str, note: str = "", *, ending: str = "") -> "Chip":
        """The chip of a row with `L, a, b` (or with an ending to each) and a white."""
        if pd.isna(row[f"L{ending}"]):
            return cls(label, None, note)
        L, a, b = (float(row[f"{name}{ending}"]) for name in LAB)
        return cls(label, (L, a, b), note, str(row["illuminant"]), int(row["observer"]))


# Letters: a column as short stays on one line, a longer one is given room.
_SHORT, _LONG = 16, 26


def sentence(text: str) -> str:
    """The answer, in a sentence or two."""
    return f"<p>{escape(text)}</p>" if text else ""


def outcome(text: str) -> str:
    """What a button says it has done; files it saved beside the notebook are links."""
    folder = re.escape(f"{Path.cwd() / SAVED}{os.sep}")
    parts = re.split(rf"{folder}([^\n/\\]+\.(?:pdf|html|csv|svg|png))", text)
    linked = [_link(part) if i % 2 else escape(part) for i, part in enumerate(parts)]
    return f"<p>{''.join(linked)}</p>" if text else ""


def _link(name: str) -> str:
    href = escape(f"../files/{SAVED}/{quote(name)}", quote=True)
    whole = escape(str(Path.cwd() / SAVED / name), quote=True)
    return f'<a class="dl-to" target="_blank" title="{whole}" href="{href}">{escape(name)}</a>'


def notice(text: str) -> str:
    """What stands in the answer's place when there is no answer, and what to do about it."""
    return f'<p class="dl-notice"><b aria-hidden="true">◦ </b>{escape(text)}</p>'


def notes(texts: Sequence[str]) -> str:
    """What limits the answer."""
    if not texts:
        return ""
    return f'<div class="dl-notes">{_list(texts)}</div>'


def care(texts: Sequence[str]) -> str:
    """Cautions under a heading of their own."""
    if not texts:
        return ""
    heading = escape(words.say("pages.caution"))
    return f'<section class="dl-notes dl-care"><h3>{heading}</h3>{_list(texts)}</section>'


def _list(texts: Sequence[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(text)}</li>" for text in texts) + "</ul>"


def busy(text: str, fraction: float | None = None) -> str:
    """A progress bar that appears only once half a second has gone by."""
    value = "" if fraction is None else f' value="{fraction:.3f}"'
    label = escape(text, quote=True)
    return f'<p><progress max="1"{value} aria-label="{label}"></progress>{escape(text)}</p>'


def chips(patches: Sequence[Chip | Sequence[Chip]]) -> str:
    """Patches in a row; a group within touches edge to edge, where the eye compares best."""
    if not patches:
        return ""
    groups = [[patch] if isinstance(patch, Chip) else list(patch) for patch in patches]
    lists = "".join(f'<ul class="dl-chips">{"".join(map(_chip, group))}</ul>' for group in groups)
    small = " dl-small" if len(groups) > _ROOMY else ""
    return f'<div class="dl-groups{small}">{lists}</div>'


def _chip(patch: Chip) -> str:
    label = f"<b>{_together(patch.label)}</b>"
    note = f"<br>{_together(patch.note)}" if patch.note else ""
    if patch.lab is None:
        return f'<li><span class="dl-chip dl-blank"></span>{label}{note.removeprefix("<br>")}</li>'
    fill, inside = _paint(patch.lab, patch.illuminant, patch.observer)
    numbers = "  ".join(map(cell, patch.lab))
    mark = "" if inside else f"<br>{escape(words.say('frame.outside'))}"
    kind = "dl-chip" if inside else "dl-chip dl-outside"
    cloth = base64.b64encode(patch.crop).decode()
    seen = f'<img class="dl-cloth" alt="" src="data:image/png;base64,{cloth}">' if cloth else ""
    return (
        f'<li>{seen}<span class="{kind}" style="background:{escape(fill, quote=True)}"></span>'
        f'{label}<span class="dl-num"><span class="dl-axes">L*a*b* </span>{numbers}</span>'
        f"{mark}{note}</li>"
    )


@lru_cache(maxsize=4096)
def _paint(lab: tuple[float, float, float], illuminant: str, observer: int) -> tuple[str, bool]:
    row = {**dict(zip("Lab", lab, strict=True)), "illuminant": illuminant, "observer": observer}
    fill, inside = style.screen(pd.DataFrame([row]))
    return str(fill[0]), bool(inside[0])


def table(frame: pd.DataFrame | None, title: str) -> str:
    """A table that scrolls in its own box, numbers to the right, headings in words."""
    if frame is None or not len(frame.columns):
        return ""
    digits = [_decimals(frame.iloc[:, i]) for i in range(frame.shape[1])]
    made = number_table(frame, decimals=digits, missing="")
    kinds = [_kind(right, [row[i] for row in made.rows]) for i, right in enumerate(made.numeric)]
    heads = "".join(map(_head, map(str, frame.columns), made.headings, kinds))
    rows = "".join(f"<tr>{''.join(map(_cell, row, kinds))}</tr>" for row in made.rows)
    label = escape(title, quote=True)
    return (
        f'<div class="dl-table" role="region" tabindex="0" aria-label="{label}">'
        f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>"
    )


def _head(name: str, heading: str, kind: str) -> str:
    return f'<th scope="col"{kind}{_meaning(name)}>{escape(heading)}</th>'


def _cell(text: str, kind: str) -> str:
    return f"<td{kind}>{_together(text)}</td>"


def _meaning(column: str) -> str:
    """What a column's word means, at hand where it stands; blank for plain words."""
    base = column.removesuffix("_low").removesuffix("_high")
    if not words.has_text(f"glossary.{base}"):
        return ""
    return f' title="{escape(words.say(f"glossary.{base}"), quote=True)}"'


def glossary() -> str:
    """Every word of tables and figures with its meaning, in the order of the list."""
    terms = "".join(
        f'<dt style="width:auto"><strong>{escape(words.heading(key))}</strong></dt>'
        f'<dd style="margin:0">{escape(text)}</dd>'
        for key, text in words.topic("glossary").items()
    )  # JupyterLab's own lists let a term of two lines push its meaning beside the next term
    grid = "display:grid;grid-template-columns:16em 1fr;gap:2px 1em;align-items:baseline"
    return f'<dl class="dl-glossary" style="{grid}">{terms}</dl>'


def _decimals(cells: pd.Series) -> int:
    """Decimals of a column: as many as its numbers have, two at most."""
    if not pd.api.types.is_numeric_dtype(cells):
        return 2
    there = cells.dropna().to_numpy(float)
    return next((n for n in (0, 1) if (there == np.round(there, n)).all()), 2)


def _kind(right: bool, texts: Sequence[str]) -> str:
    """Class of a column: numbers to the right; text gets the room it needs to be read."""
    if right:
        return ' class="dl-num"'
    most = max(map(len, texts), default=0)
    size = "short" if most <= _SHORT else "middle" if most <= _LONG else "long"
    return f' class="dl-{size}"'


def _together(text: str) -> str:
    """Text as HTML, with a number kept on one line with its per cent sign."""
    return escape(text).replace(" %", "&nbsp;%")


def pictures(shown_: Sequence[tuple[str, bytes]]) -> str:
    """PNG pictures with their captions, which are also what a screen reader says."""
    if not shown_:
        return ""
    figures = "".join(
        f'<figure><img alt="{escape(caption, quote=True)}" src="data:image/png;base64,'
        f'{base64.b64encode(content).decode()}"><figcaption>{escape(caption)}</figcaption></figure>'
        for caption, content in shown_
    )
    return f'<div class="dl-pictures">{figures}</div>'
