"""Derived views: one recipe a swatch, one row a reading with its recipe. Never stored."""

import difflib
import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable
from functools import wraps
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd

from dyelab import recipe, words
from dyelab.book.swatch_book import Book
from dyelab.errors import InputError
from dyelab.recipe import sequence

_View = Callable[[Book], pd.DataFrame]
_SWATCH = ["swatch", "form", "fibre", "ground", "series"]
RECIPE = ["tannin", "tannin_wof", "mordant", "mordant_wof", "dye", "dye_wof", "vat"]
METALS = recipe.metals.columns()
RECIPE += [*METALS.values(), "modifier", "assist", "assist_wof"]
IDENTITY = ["metals_at", "rest", "recipe"]
_USUAL = {"tannin": 1, "mordant": 2, "dye": 3, "vat": 3}


def _once(view: _View) -> _View:
    """Work a view out once for each open book; whoever asks has a table of their own."""
    kept: WeakKeyDictionary[Book, pd.DataFrame] = WeakKeyDictionary()

    @wraps(view)
    def given(bk: Book) -> pd.DataFrame:
        if bk not in kept:
            kept[bk] = view(bk)
        return kept[bk].copy()

    return given


def materials(bk: Book) -> pd.DataFrame:
    """Return the materials a recipe in this book may name: those shipped and its own.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> book.materials(bk)[["material", "role"]].head(2)
            material     role
    0    potash alum  mordant
    1  ammonium alum  mordant
    """
    return recipe.materials(bk.materials)


def recipes(bk: Book) -> pd.DataFrame:
    """Return one row a swatch: what was done to it, one column a factor.

    Returns
    -------
    DataFrame
        `swatch, form, fibre, ground, series, tannin, tannin_wof, mordant, mordant_wof, dye,
        dye_wof, vat`, the dose of each metal of `recipe.metals` (`iron_wof` …), `modifier,
        assist, assist_wof, metals_at, rest, recipe`. Names are those of the materials list;
        ``none`` and 0.0 where absent; several are joined ``a + b`` in the order done. Doses are
        % WOF of the material used. Colour-shifting metals stay out of `mordant` unless they are
        the only mordant. A dose that can't be worked out is NaN; a step at 0 % is no step, its
        bath apart. `assist` is what went into the
        mordant's bath with it.

        `recipe` is every step in order with its own dose, as `recipe.sequence` writes it: only
        swatches that agree in it, and in form, fibre, ground and area, are replicates. `rest`
        is what the other columns don't say of it, `metals_at` where a metal went in before the
        dye: swatches to be compared for one step agree in both.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> book.recipes(bk)[["swatch", "mordant", "dye", "iron_wof"]].head(2)
      swatch      mordant     dye  iron_wof
    0    W01         none  madder       0.0
    1    W02  potash alum  madder       0.0
    """
    return _cloths(bk).merge(_by_group(bk, ["swatch"]), on="swatch", how="left").pipe(_fill)


def _cloths(bk: Book) -> pd.DataFrame:
    """What each swatch is made of; "Cotton" is cotton."""
    rows = bk.swatches[_SWATCH]
    folded = {text: text.strip().lower() for text in rows["fibre"].unique()}
    return rows.assign(fibre=rows["fibre"].map(folded))


@_once
def areas(bk: Book) -> pd.DataFrame:
    """Return one row a swatch and area, as `recipes`, with `area` after `swatch`.

    A step on the whole cloth counts for each of its named areas. A cloth with named areas has
    a row for each and one for ``whole``: the steps that touched all of it.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> book.areas(bk)[["swatch", "area", "fibre", "dye"]].head(2)
      swatch   area fibre     dye
    0    W01  whole  wool  madder
    1    W02  whole  wool  madder
    """
    known = pd.concat([bk.swatches[["swatch"]].assign(area="whole"), _name_areas(bk)])
    rows = known.merge(_cloths(bk), on="swatch")
    by_area = _by_group(bk, ["swatch", "area"], _spread(bk))
    full = rows.merge(by_area, on=["swatch", "area"], how="left").pipe(_fill)
    bare = full["area"].ne("whole") & full["rest"].eq("")  # a cloth that no step touched
    full["rest"] = full["rest"].mask(bare, _PRINTED)
    return full[["swatch", "area", *_SWATCH[1:], *RECIPE, *IDENTITY]]


def _spread(bk: Book) -> pd.DataFrame:
    """Give each named area of a cloth the steps done to the whole."""
    steps, named = bk.steps, _name_areas(bk)
    if named.empty:
        return steps
    whole = steps[steps["area"] == "whole"].drop(columns="area").merge(named, on="swatch")
    own = steps.assign(on=steps["area"].where(steps["area"] == "whole", "part"))
    return pd.concat([own, whole.assign(on="whole")], ignore_index=True).sort_values(
        ["swatch", "area", "order"], kind="stable"
    )


@_once
def wide(bk: Book) -> pd.DataFrame:
    """Return every reading joined with the recipe of its swatch, or of its area.

    Returns
    -------
    DataFrame
        All columns of `readings`, then those of `recipes`, then `baths`: the bath of each
        step in order, as ``scour=S1 mordant=M2 dye=``, blank where it isn't recorded. Codes
        begin again with each series, so a bath is known by its series as well; where there is
        none, by the spreadsheet it came from: ``dye=1@spring.csv``.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> book.wide(bk)[["reading", "L", "dye", "dye_wof"]].head(2).round(1)
      reading     L     dye  dye_wof
    0     W01  69.0  madder     50.0
    1     W02  48.4  madder     50.0
    """
    joined = bk.readings.merge(areas(bk), on=["swatch", "area"], how="left")
    named = baths(bk)
    places = zip(joined["swatch"], joined["area"], strict=True)
    return joined.assign(baths=[named.get(at, "") for at in places])


def baths(bk: Book) -> dict[tuple[str, str], str]:
    """Name the baths of each swatch and area, in the order done; see `wide`.

    Areas of one cloth share it, so the cloth itself counts as a bath that they lay in together.
    Numbers begin again with each spreadsheet as well: without a series, its name goes along.
    """
    done = _spread(bk).sort_values(["swatch", "area", "order"], kind="stable")
    done = done[done["kind"] != "assist"]
    cloths = bk.swatches.set_index("swatch")
    sheet = done["swatch"].map(cloths["source"].where(cloths["series"].eq(""), "")).fillna("")
    bath = done["bath"].fillna("").astype(str)
    named = bath.mask(bath.ne("") & sheet.ne(""), bath + "@" + sheet).map(_one_word)
    found: dict[tuple[str, str], list[str]] = {}
    rows = zip(done["swatch"], done["area"], done["kind"], named, strict=True)
    for swatch, area, kind, bath in rows:
        shared = [] if area == "whole" else [f"cloth={_one_word(swatch)}"]
        found.setdefault((swatch, area), shared).append(f"{kind}={bath}")
    return {at: " ".join(steps) for at, steps in found.items()}


def _one_word(text: str) -> str:
    return "_".join(text.split())


def _by_group(bk: Book, by: list[str], steps: pd.DataFrame | None = None) -> pd.DataFrame:
    """One row a group of steps, with the columns of a recipe."""
    done = bk.steps if steps is None else steps
    done = done.sort_values([*by, "order"], kind="stable").reset_index(drop=True)
    groups = done[by].drop_duplicates().set_index(by).index
    done = with_doses(bk, done)
    done = done[done["wof"].ne(0) | done["kind"].eq("vat")]  # at 0 % it is a bath of water alone
    done = _join_dips(_with_helped(done.reset_index(drop=True), by), by)
    metal = done["counted"]
    mordant = done["kind"].eq("mordant")
    other = (mordant & ~metal).groupby([done[key] for key in by]).transform("any")
    kinds = {
        "tannin": done["kind"].eq("tannin"),
        "mordant": mordant & ~(metal & other),
        "dye": done["kind"].isin(["dye", "vat"]),
        "assist": done["kind"].eq("assist") & done["to"].eq("mordant"),
    }
    columns: dict[str, pd.Series] = {}
    for name, mask in kinds.items():
        columns[name] = _names(done[mask], by)
        columns[f"{name}_wof"] = _sum(done[mask], by)
    columns["vat"] = done["kind"].eq("vat").groupby([done[key] for key in by]).any()
    for symbol, name in recipe.metals.symbols().items():
        columns[METALS[name]] = _sum(done[metal & done["metal"].eq(symbol)], by)
    columns["modifier"] = _names(done[done["kind"].eq("modifier") & ~metal], by)
    columns |= _identity(done, by)
    frame = pd.DataFrame({name: column.reindex(groups) for name, column in columns.items()})
    return frame.reset_index()[[*by, *RECIPE, *IDENTITY]]


_PRINTED = " > printed"


def _identity(done: pd.DataFrame, by: list[str]) -> dict[str, pd.Series]:
    """Code every step in order (`recipe`), and what the summary columns leave unsaid."""
    telling = done[(done["material"] != "") | ~done["kind"].isin(["scour", "rinse", "other"])]
    groups = [telling[key] for key in by]
    if "area" in by:  # of one area's steps, which were put on it alone and which on all the cloth
        telling = telling.assign(area=telling.get("on", "whole"))
    telling = telling.assign(text=sequence.texts(telling))
    metal = telling["counted"]
    said = _is_told(telling, groups, metal)
    odd = said & _out_of_order(telling, groups, said)
    spoken = telling["text"].mask(odd, telling["kind"])[~metal & (~said | odd)]
    lines = _lines(telling["text"], groups)
    rest = _lines(spoken, groups).reindex(lines.index)
    rest = rest.where(rest.notna(), "")
    at = _lines(_places(telling, groups, metal), groups)
    if "area" in by:
        named = rest.index.get_level_values("area") != "whole"
        rest = rest.where(~named, rest + _PRINTED)
    return {"recipe": lines, "rest": rest, "metals_at": at}


def _lines(texts: pd.Series, groups: list[pd.Series]) -> pd.Series:
    return texts.astype(object).groupby(groups).agg(sequence.join).astype(object)


def _is_told(done: pd.DataFrame, groups: list[pd.Series], metal: pd.Series) -> pd.Series:
    """Steps that the summary columns tell wholly: one tannin, one mordant, one dye, its assist."""
    said = pd.Series(False, index=done.index)
    plain = (done["dips"].fillna(1) <= 1) & (done["bath_use"].fillna(1) <= 1) & done["wof"].notna()
    for kinds in (["tannin"], ["mordant"], ["dye", "vat"]):
        here = done["kind"].isin(kinds) & ~metal
        said |= here & plain & here.groupby(groups).transform("sum").eq(1)
    helped = done["kind"].eq("assist") & done["to"].eq("mordant")
    return said | (helped & plain & helped.groupby(groups).transform("sum").eq(1))


def _out_of_order(done: pd.DataFrame, groups: list[pd.Series], said: pd.Series) -> pd.Series:
    """Whether a swatch's tannin, mordant and dye came in another order than the usual."""
    rank = done["kind"].map(_USUAL).where(said).astype(float)
    late = rank < rank.groupby(groups).cummax().groupby(groups).ffill()
    return late.groupby(groups).transform("any")


def _places(done: pd.DataFrame, groups: list[pd.Series], metal: pd.Series) -> pd.Series:
    """Which step a metal went in before, and as which salt; blank for the usual salt, last."""
    main = done["kind"].where(~metal & done["kind"].isin(list(_USUAL)))
    early = main.groupby(groups).bfill()[metal].astype(object).replace("vat", "dye")
    usual = recipe.metals.metals().set_index("symbol")["salt"]
    salt, symbol = done.loc[metal, "material"].astype(object), done.loc[metal, "metal"]
    other = (" as " + salt).where(salt != symbol.map(usual), "")
    told = (" before " + early).fillna("") + other
    return (symbol + told)[told != ""]


def _with_helped(done: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Say which kind of step each assist helps (`to`); those of one bath have no order."""
    helping = done["kind"].eq("assist")
    groups = [done[key] for key in by]
    main = (~helping).groupby(groups).cumsum()
    to = done["kind"].mask(helping).groupby(groups).ffill().fillna("")
    if not helping.any():
        return done.assign(to=to)
    named = done.assign(to=to, main=main, helping=helping, name=done["material"].where(helping, ""))
    order = [*by, "main", "helping", "name"]
    named = named.sort_values(order, kind="stable").reset_index(drop=True)
    return named.drop(columns=["main", "helping", "name"])


def _join_dips(done: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Join dips of one vat that follow one another, however they were written down."""
    vats = done["kind"].eq("vat")
    if not vats.any():
        return done
    same = [*by, "kind", "material", "amount", "unit", "area", "bath_use"]
    same += [name for name in ("on",) if name in done]
    text = done[same].astype(str)
    again = vats & (text == text.shift()).all(axis=1)
    run = (~again).cumsum()
    dips = done["dips"].astype(float).fillna(1).groupby(run).transform("sum")
    return done.assign(dips=dips)[~again].reset_index(drop=True)


def _fill(frame: pd.DataFrame) -> pd.DataFrame:
    """Nothing where no step says otherwise: ``none``, no dose, no vat."""
    named = dict.fromkeys(("tannin", "mordant", "dye", "modifier", "assist"), "none")
    for name, blank in {**named, **dict.fromkeys(IDENTITY, "")}.items():
        frame[name] = frame[name].astype(object).where(frame[name].notna(), blank).astype(str)
    for dose in (name for name in RECIPE if name.endswith("_wof")):
        name = dose.removesuffix("_wof")
        absent = frame[name].eq("none") if name in frame else frame[dose].isna()
        frame[dose] = frame[dose].mask(absent, 0.0).replace(-np.inf, np.nan).astype(float)
    return frame.assign(vat=frame["vat"].eq(True))


def _names(done: pd.DataFrame, by: list[str]) -> pd.Series:
    grouped = done.groupby(by, sort=False)["material"]
    once = grouped.first()
    several = grouped.size() > 1
    if several.any():
        joined = grouped.agg(lambda names: " + ".join(dict.fromkeys(names)))
        once = once.where(~several, joined)
    return once


def _sum(done: pd.DataFrame, by: list[str]) -> pd.Series:
    """Doses added up; unknown if one is (-inf, told from absent)."""
    doses = done["wof"].fillna(-np.inf)
    return doses.groupby([done[key] for key in by]).sum(min_count=1)


def with_doses(bk: Book, done: pd.DataFrame) -> pd.DataFrame:
    """Add `wof` (% weight of fibre), `metal`, and the listed name of each material."""
    listed = materials(bk)
    names = {text: recipe.known_name(text, listed) for text in done["material"].unique()}
    metals = dict(zip(listed["material"], listed["metal"], strict=True))
    material = done["material"].map(names)
    mass = done["swatch"].map(bk.swatches.set_index("swatch")["mass_g"])
    amount = done["amount"]
    doses = (amount, 100 * amount / mass.where(mass > 0), amount * done["liquor_ratio"] / 10)
    wof = np.select([done["unit"].eq(u) for u in ("% WOF", "g", "g/L")], doses, np.nan)
    metal = material.map(metals).fillna("")
    counted = recipe.metals.is_counted(metal, done["kind"])
    return done.assign(material=material, metal=metal, counted=counted, wof=wof)


def named_areas(bk: Book) -> dict[str, list[str]]:
    """Return the areas of each cloth that has any, those with no step of their own last.

    Examples
    --------
    >>> from dyelab import book, plan
    >>> areas = {"leaf": "aluminium acetate 5", "sky": "none"}
    >>> bk = book.add(book.create(folder / "b"), **plan.printed_cloth("P-01", areas))
    >>> book.named_areas(bk)
    {'P-01': ['leaf', 'sky']}
    """
    return {
        str(code): list(own) for code, own in _name_areas(bk).groupby("swatch", sort=False)["area"]
    }


def _name_areas(bk: Book) -> pd.DataFrame:
    """`swatch, area` of every named area: of the steps, said to be bare, or read."""
    bare = bk.swatches[["swatch"]].assign(area=bk.swatches["bare_areas"].str.split(r"\s*;\s*"))
    parts = [frame[["swatch", "area"]] for frame in (bk.steps, bare.explode("area"), bk.readings)]
    rows = pd.concat(parts).drop_duplicates()
    return rows[~rows["area"].isin(["whole", ""]) & rows["area"].notna()]


def locate(bk: Book, names: Iterable[str]) -> dict[str, tuple[str, str]]:
    """Find the swatch and area that each name means.

    Parameters
    ----------
    bk : Book
    names : iterable of str
        A swatch's code, or with one of its areas behind it: ``P-01 leaf``, ``P-01: leaf``,
        ``P-01 (leaf)``, whatever the capitals, unless other capitals make it another swatch.
        ``P-01 whole`` is the whole of a printed cloth.

    Returns
    -------
    dict of str to (str, str)
        Of those names that are in the book.

    Raises
    ------
    InputError
        For the bare code of a cloth with areas: one colour of several is nowhere on the cloth.

    Examples
    --------
    >>> from dyelab import book, synth
    >>> bk = book.open(synth.example())
    >>> book.locate(bk, ["W01", "W02 whole"])
    {'W01': ('W01', 'whole'), 'W02 whole': ('W02', 'whole')}
    """
    exact = {str(code): str(code) for code in bk.swatches["swatch"]}
    many = Counter(map(_fold, exact))
    alike = {_fold(code): code for code in exact if many[_fold(code)] == 1}
    areas = named_areas(bk)
    found = {}
    for name in dict.fromkeys(names):
        code, area = _part_name(name.strip(), exact, areas)
        if not code:
            code, area = _part_name(_fold(name.strip()), alike, areas)
        if code and not area:
            listed = ", ".join(areas[code])
            raise InputError(words.say("areas.which", code=code, areas=listed, one=areas[code][0]))
        if code:
            found[name] = (code, area)
    return found


def part_of(bk: Book, name: str) -> tuple[str, str]:
    """The cloth with areas that a name begins with and the rest of it; blanks where there is none.

    Raises
    ------
    InputError
        If the rest is nearly the name of one of its areas.

    Examples
    --------
    >>> from dyelab import book, plan
    >>> areas = {"leaf": "aluminium acetate 5", "ground": "none"}
    >>> bk = book.add(book.create(folder / "b"), **plan.printed_cloth("P-01", areas))
    >>> book.part_of(bk, "P-01 rim")
    ('P-01', 'rim')
    """
    for code, own in named_areas(bk).items():
        found = re.match(re.escape(code) + r"[\s:/,(_-]+(.+?)[\s)]*$", name, re.IGNORECASE)
        if found:
            near = difflib.get_close_matches(found[1].casefold(), [a.casefold() for a in own], 1)
            if near:
                said = words.say("areas.near", name=name, code=code, areas=", ".join(own))
                raise InputError(said)
            return code, found[1]
    return "", ""


def _fold(name: str) -> str:
    """A name whatever its capitals, and however its accents are put together."""
    return unicodedata.normalize("NFC", name).casefold()


_AREA_BEHIND = re.compile(r"[\s:/,(_-]")


def _part_name(name: str, codes: dict[str, str], areas: dict[str, list[str]]) -> tuple[str, str]:
    """Code and area of one name; a blank area where one has to be named, blanks for no swatch."""
    if name in codes:
        code = codes[name]
        return code, "" if code in areas else "whole"
    for sign in reversed(list(_AREA_BEHIND.finditer(name))):  # the longest code first
        code = codes.get(name[: sign.start()], "")
        if code:
            own = {_fold(area): area for area in [*areas.get(code, []), "whole"]}
            rest = re.sub(r"^[\s:/,(_-]+|[\s)]+$", "", name[sign.start() :])
            if area := own.get(_fold(rest)):
                return code, area
    return "", ""
