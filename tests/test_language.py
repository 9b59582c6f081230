"""Every panel and page in a made-up language: no English of the program's own is left."""

import dataclasses
import html
import json
import re
import tomllib
from pathlib import Path

import pytest
from panels import choose

from dyelab import book, plan, recipe, synth, words
from dyelab.handout import colours, sheets
from dyelab.handout import page as parts
from dyelab.panel import (
    book_choice,
    browse,
    capture,
    compare,
    correct,
    exchange,
    explore,
    fastness,
    guess,
    home,
    instrument,
    make_pages,
    metals,
    own_materials,
    printed_cloth,
    record,
    tannin_share,
    weigh,
)
from dyelab.panel import plan as planning
from dyelab.recipe.advice import CELLULOSE, PROTEIN

ENGLISH = Path(words.__file__).parent / "en"
# Names that a translation leaves as they are: lights, formulae, formats, papers, units.
NAMES = "LED RGB CMC CIELAB CSV SVG PNG HTML PDF WOF ISO CIE Letter Mlx klx Marlpit Yard mine Iron"
NAMES += " leaf stem ground rendered card jpg"
PANELS = (browse, capture, compare, correct, exchange, explore, fastness, guess, home, instrument)
PANELS += (make_pages, metals, own_materials, planning, printed_cloth, tannin_share, weigh)
# What a translation of these says is read back as typed, or was written into the book.
AS_WRITTEN = {("printing", "start")}
CHOSEN = {"metal": "iron", "fibre": "wool", "dye": "madder", "tannin": "none", "count": 3}
CHOSEN |= {"mordant": "potash alum", "swatch": "W09", "swatches": ["W09"], "series": ""}
CHOSEN |= {"upright": False, "full": False, "lamp": "FL11", "dose": 2.0}


def foreign(text):
    """The text in other letters; its blanks, and the forms that go with a number, stay."""

    def far(said):
        return "".join(chr(ord(c) + 0xFEE0) if c.isascii() and c.isalpha() else c for c in said)

    def blank(found):
        name, mark, forms = found[1].partition(":")
        return "{" + name + mark + (far(forms) if "|" in forms else forms) + "}"

    pieces = re.split(r"(\{[^{}]*\})", text)
    return "".join(
        re.sub(r"\{([^{}]*)\}", blank, one) if one[:1] == "{" else far(one) for one in pieces
    )


@pytest.fixture(autouse=True)
def _made_up(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("DYELAB_BOOK", raising=False)
    monkeypatch.chdir(tmp_path)
    topics = {p.stem: tomllib.loads(p.read_text(encoding="utf-8")) for p in ENGLISH.glob("*.toml")}
    listed, known = recipe.materials(), recipe.metals.metals()
    topics["material_notes"] = dict(zip(listed["material"], listed["note"], strict=True))
    topics["disposal"] = dict(zip(known["metal"], known["disposal"], strict=True))
    folder = tmp_path / "xx"
    folder.mkdir()
    for topic, texts in topics.items():
        said = {k: t if (topic, k) in AS_WRITTEN else foreign(t) for k, t in texts.items()}
        lines = [f"{json.dumps(key)} = {json.dumps(text)}" for key, text in said.items()]
        (folder / f"{topic}.toml").write_text("\n".join(lines), encoding="utf-8")
    words.use("xx", tmp_path)
    book_choice.source.cache_clear()  # it keeps what was said
    yield
    words.use("en")
    book_choice.source.cache_clear()


def own_words(bk):
    """Words of the user's own: names of the book and of the materials list."""
    swatches = bk.swatches
    texts = [" ".join(swatches[c].astype(str)) for c in ("swatch", "fibre", "ground", "series")]
    texts += [" ".join(bk.tests.astype(str).to_numpy().ravel()), NAMES]
    texts += [*recipe.materials()["material"], *recipe.metals.columns(), *(PROTEIN | CELLULOSE)]
    return {word.lower() for text in texts for word in re.findall(r"[A-Za-z]{3,}", text)}


def english(texts, known):
    """Texts that hold a word of three Latin letters which is no name."""
    plain = (re.sub(r"<[^>]*>|#[0-9a-f]{6}|%\{[^}]*\}", " ", html.unescape(t)) for t in texts)
    return sorted(
        {
            text.strip()[:120]
            for text in plain
            if [w for w in re.findall(r"[A-Za-z]{3,}", text) if w.lower() not in known]
        }
    )


def shown(widget, seen=None):
    """Every text that a panel shows: of its widgets, their options and its figure."""
    seen = set() if seen is None else seen
    if id(widget) in seen:
        return
    seen.add(id(widget))
    name = type(widget).__name__
    fields = ("description", "placeholder", "tooltip", "title", "narrow")
    yield from (str(getattr(widget, field, "") or "") for field in fields)
    if name == "HTML":
        yield from re.split(r"<[^>]*>", widget.value)
    yield from map(str, getattr(widget, "labels", ()))
    yield from (o[0] if isinstance(o, tuple) else str(o) for o in getattr(widget, "options", ()))
    if getattr(widget, "figure", ""):
        yield from drawn(json.loads(widget.figure))
    for child in getattr(widget, "children", ()):
        yield from shown(child, seen)


SAID = ("text", "name", "hovertemplate", "hovertext", "ticktext", "label", "customdata")


def drawn(part, key=""):
    """Every text of a figure."""
    if isinstance(part, dict):
        for name, value in part.items():
            yield from drawn(value, name)
    elif isinstance(part, list):
        for value in part:
            yield from drawn(value, key)
    elif isinstance(part, str) and key in SAID:
        yield part


def printed(part):
    """Every text of a page."""
    if isinstance(part, str):
        yield part
    elif isinstance(part, list | tuple):
        for one in part:
            yield from printed(one)
    elif dataclasses.is_dataclass(part):
        unseen = (
            "kind",
            "tone",
            "only",
            "paper",
            "fill",
            "fills",
            "figure",
            "form",
            "src",
            "state",
        )
        for field in dataclasses.fields(part):
            if field.name not in unseen:
                yield from printed(getattr(part, field.name))


# Marks by which the browser knows what a point of a page is; nobody reads them.
MARKS = {"before", "between", "read", "forecast", "untold", "which", "why", "met", "not_met"}


@pytest.mark.parametrize("module", PANELS, ids=lambda module: module.__name__.split(".")[-1])
def test_a_panel_shows_no_english(module):
    panel = module.panel()
    assert panel.answer.value or panel.children
    texts = [text for text in shown(panel) if not text.startswith("/")]
    assert len("".join(texts)) > 200
    assert english(texts, own_words(book.open(synth.example()))) == []


def test_the_record_panel_shows_no_english(tmp_path):
    series = plan.series({"fibre": ["wool"], "dye": ["madder 50"], "iron": [0, 2]}, name="Iron")
    bk = book.save(plan.add_series(book.create(tmp_path / "mine"), series))
    panel = record.panel(bk)
    kept = english(shown(panel), own_words(bk))
    assert [text for text in kept if "swatches added" not in text] == []  # the book's own history


def test_a_plan_of_a_part_of_the_recipes_shows_no_english():
    panel = planning.panel()
    choose(panel, over="weld 50 + indigo 5 x3", design="optimal", runs=5)
    kept = english(shown(panel), own_words(book.open(synth.example())))
    assert panel.shown.notes
    assert kept == []


@pytest.mark.parametrize("kind", [*sorted(sheets.KINDS), "fastness, longer"])
def test_a_page_shows_no_english(kind):
    bk = book.open(synth.example())
    kind, _, longer = kind.partition(", ")
    chosen = CHOSEN | {"full": bool(longer)}
    page = sheets.KINDS[kind].make(colours.source(bk), parts.Header(), chosen)
    known = own_words(bk)
    left = [t for t in english(printed(page), known) if t not in MARKS]
    assert [t for t in left if not re.fullmatch(r"\d+ W\d+ (which|why)", t)] == []


def test_what_the_browser_says_by_itself_comes_from_the_panels():
    served = ENGLISH.parents[1] / "cli" / "served"
    scripts = [*served.rglob("*.js"), *served.rglob("*.j2"), *ENGLISH.parents[1].glob("panel/*.js")]
    assert len(scripts) > 4
    said = re.compile(r"(?:textContent|placeholder|title|innerHTML)\s*=\s*[\"'`][A-Za-z]{3,}")
    assert [path.name for path in scripts if said.search(path.read_text(encoding="utf-8"))] == []
