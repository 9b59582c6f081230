"""A page description to PDF (or PNG pictures of its sheets) through Typst."""

import re
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from dyelab import files, press, words
from dyelab.handout.page import (
    Clock,
    Live,
    Page,
    Shade,
    code,
    code_mm,
    describe,
    every_patch,
    foot,
    keep_units,
)

_HERE = Path(__file__).parent
_LARGE = """#let data = json("data.json")
#set document(title: data.title, date: none)
#set page(paper: data.paper, flipped: data.landscape, margin: 0mm)
#for sheet in data.sheets { image(sheet, width: 100%, height: 100%) }
"""
_LONG = re.compile(r"[^\s\u00a0]{16}")


def pdf(page: Page, path: str | Path) -> Path:
    """Write the page as PDF, fonts embedded, charts as vectors.

    Examples
    --------
    >>> from dyelab import handout
    >>> page = handout.share_page("Madder", "Iron made it darker.")
    >>> handout.pdf(page, folder / "a.pdf").read_bytes()[:5]
    b'%PDF-'
    """
    return files.write(path, _enlarge(page) if page.enlargement > 1 else _typeset(page))


def pictures(page: Page, ppi: float = 100) -> list[bytes]:
    """PNG pictures of the sheets, for a preview.

    Examples
    --------
    >>> from dyelab import handout
    >>> page = handout.share_page("Madder", "Iron made it darker.")
    >>> len(handout.pictures(page, ppi=20))
    1
    """
    return _sheets(page, form="png", ppi=ppi)


def _sheets(page: Page, **asked: Any) -> list[bytes]:
    """Each sheet by itself; one that is to be enlarged as it is on A4."""
    laid = replace(page, paper="A4") if page.enlargement > 1 else page
    made: Any = _typeset(laid, **asked)
    return made if isinstance(made, list) else [made]


def _typeset(page: Page, **asked: Any) -> bytes:
    data, pictures = _data(page)
    template = (_HERE / "page.typ").read_text(encoding="utf-8")
    return press.typeset(template, data, pictures=pictures, **asked)


def _enlarge(page: Page) -> bytes:
    """The sheets of A4 drawn over the whole of a larger paper, letters and all."""
    drawn = {f"{i}.svg": sheet for i, sheet in enumerate(_sheets(page, form="svg"))}
    title = keep_units(page.title)
    data = {"title": title, "paper": page.paper.lower(), "landscape": page.landscape}
    return press.typeset(_LARGE, {**data, "sheets": list(drawn)}, pictures=drawn)


def _data(page: Page) -> tuple[dict[str, Any], dict[str, bytes]]:
    pictures: dict[str, bytes] = {}

    def put(content: bytes, form: str) -> str:
        pictures[f"{len(pictures)}.{form}"] = content
        return list(pictures)[-1]

    as_it_is = ("teacher", "address", "paper", "landscape", "tight", "bare")
    blocks = [_block(block, put) for block in page.blocks if block.only != "screen"]
    data = {
        **{name: getattr(page, name) for name in as_it_is},
        "title": keep_units(page.title),
        "note": foot(page),
        "logo": put(page.logo.content, page.logo.form) if page.logo else "",
        "code_svg": put(code(page.address), "svg") if page.address else "",
        "code_mm": code_mm(page.paper),
        "language": "en",
        **{name: words.say(f"pages.{name}") for name in ("caution", "code", "staple")},
        "blocks": [block for block in blocks if block],
    }
    return data, pictures


def _block(block: Any, put: Callable[[bytes, str], str]) -> dict[str, Any] | None:
    if isinstance(block, Live):
        return _block(block.paper, put) if block.paper else None
    if isinstance(block, Clock):
        return _fan(block)
    made = describe(block, put)
    for patch in every_patch(made):
        for name in ("label", "note"):  # a chip is narrow: a long word may part
            patch[name] = _LONG.sub("\\g<0>\u200b", patch[name])
    return made


def _fan(block: Clock) -> dict[str, Any]:
    """The cards of a clock: a key, then one for each of its moments."""
    cards = []
    for title, hours in block.moments:
        at = block.at(hours)
        dose = words.say("clock.dose", dose=f"{hours * block.places[0][1] / 1e6:.3g}")
        rows = [
            [None if at is None else _shade(hand.shades[at]) for hand in hands]
            for hands in (block.hands, block.beside)
        ]
        if not any(map(any, rows)):  # nothing is known so far into the light
            continue
        cards.append({"title": title, "dose": dose, "hands": rows[0], "beside": rows[1]})
    names = [[hand.name for hand in hands] for hands in (block.hands, block.beside)]
    said: Any = {name: words.say(f"clock.{name}") for name in ("key", "untold", "references")}
    said |= {"kind": "fan", "cards": cards, "names": names[0], "beside": names[1]}
    return keep_units(said)


def _shade(shade: Shade) -> dict[str, Any] | None:
    if not shade.fill:
        return None
    said = words.say("clock.grade", said=shade.said) if shade.known != "before" else ""
    ahead = words.say("clock.a_forecast") if shade.known == "forecast" else ""
    return {**asdict(shade), "said": said + ahead}
