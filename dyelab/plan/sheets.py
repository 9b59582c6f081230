"""The sheets of a series: baths with weigh-outs and cautions, timetable, labels, check list."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pandas as pd

from dyelab import errors, press, recipe, words
from dyelab.book import Book
from dyelab.card import label_svg
from dyelab.errors import InputError
from dyelab.plan.baths import BATH_KINDS, stage
from dyelab.plan.factors import METALS
from dyelab.plan.factors import parts as parted
from dyelab.plan.series import RECIPE, Series, totals

_HERE = Path(__file__).with_name("typst")
SHEETS = ("baths", "timetable", "labels", "checklist")
_WIDTHS = {"A4": 210.0, "Letter": 215.9}
_LABEL = 45.0  # mm: width of a label
_WARM_UP = 30  # min to heat a bath, by common practice
_REDUCE = 60  # min until a new vat can be dipped in, by common practice
_TEXT = (
    *("invented", "cautions", "fibre", "water", "nothing", "weigh", "swatches", "done", "really"),
    *("began", "ended", "totals", "from", "to", "bath", "what", "heat", "cannot", "advice", "code"),
)


def sheets(
    planned: Series,
    folder: str | Path,
    *,
    paper: str = "A4",
    only: Iterable[str] = SHEETS,
    pots: int = 2,
    children: bool = False,
    listed: pd.DataFrame | None = None,
) -> dict[str, Path]:
    """Write the sheets of a series as PDF.

    Parameters
    ----------
    planned : Series
    folder : str or Path
        Where to. The files are named after the series and the sheet.
    paper : {"A4", "Letter"}
    only : iterable of str
        Some of baths, timetable, labels, checklist.
    pots : int
        Pots that can be on at once, for the timetable.
    children : bool
        Add the caution for children in class.
    listed : DataFrame, optional
        The materials list.

    Returns
    -------
    dict of str to Path
        The files written, by sheet.

    Raises
    ------
    InputError
        If the paper or a sheet is unknown.

    Examples
    --------
    >>> from dyelab import plan
    >>> levels = {"fibre": ["wool"], "dye": ["madder 50"], "iron": [0, 2]}
    >>> series = plan.series(levels, name="Iron")
    >>> sorted(path.name for path in plan.sheets(series, folder, only=["baths"]).values())
    ['Iron_baths.pdf']
    """
    errors.choose(paper, press.PAPERS, "paper")
    written = {}
    name = "".join(c if c.isalnum() or c in "-_" else "_" for c in planned.name.strip())
    asked: Any = {"paper": paper, "pots": pots, "children": children, "listed": listed}
    for sheet in only:
        errors.choose(sheet, SHEETS, "sheet", "of a series")
        target = Path(folder) / f"{name[:60] or 'series'}_{sheet}.pdf"
        template, data, pictures = page(planned, sheet, **asked)
        written[sheet] = press.pdf(template, data, target, pictures=pictures)
    return written


def page(
    planned: Series,
    sheet: str,
    *,
    paper: str = "A4",
    pots: int = 2,
    children: bool = False,
    listed: pd.DataFrame | None = None,
) -> tuple[str, dict[str, Any], dict[str, bytes]]:
    """Return a sheet's template, data and pictures, ready for `press`.

    Examples
    --------
    >>> from dyelab import plan
    >>> levels = {"fibre": ["wool"], "dye": ["madder 50"], "iron": [0, 2]}
    >>> series = plan.series(levels, name="Iron")
    >>> _, data, _ = plan.page(series, "baths")
    >>> data["baths"][0]["head"]
    'Scour, wool'
    """
    template, data = _sheet(sheet, planned.name, paper)
    pictures: dict[str, bytes] = {}
    if sheet == "baths":
        data |= _bath_data(planned, children, listed)
    elif sheet == "timetable":
        key = "series.water_baths" if planned.water_bath else "series.pots"
        about = words.say(key, pots=pots, jars=planned.water_bath)
        data |= {"days": timetable(planned, pots), "about": about}
    elif sheet == "labels":
        pictures = _marks(planned.swatches)
        data |= _label_data(planned.swatches, paper)
    else:
        data |= _check_data(planned)
    return template, data, pictures


def _sheet(sheet: str, title: str, paper: str) -> tuple[str, dict[str, Any]]:
    """A sheet's template, and what every sheet shows."""
    template = "".join((_HERE / f"{name}.typ").read_text("utf-8") for name in ("common", sheet))
    return template, {
        "title": title,
        "sheet": words.say(f"series.sheet_{sheet}"),
        "paper": press.PAPERS[paper],
        "text": {key: words.say(f"series.{key}") for key in _TEXT},
    }


def _bath_data(planned: Series, children: bool, listed: pd.DataFrame | None) -> dict[str, Any]:
    baths = planned.baths
    used = [name for name in baths["material"].unique() if name]
    known = recipe.materials() if listed is None else listed
    said = recipe.care(used, known, children=children)
    return {
        "cautions": list(dict.fromkeys([*recipe.before_you_begin(children)[:-1], *said])),
        "baths": [_bath(own, known) for _, own in baths.groupby("bath", sort=False)],
        "totals": [
            (row["material"], f"{_fixed(row['amount'], 1)} {row['unit']}")
            for row in totals(planned).to_dict("records")
        ],
    }


def _bath(own: pd.DataFrame, listed: pd.DataFrame) -> dict[str, Any]:
    """One bath: its own material, and what goes in with it."""
    row, *more = own.to_dict("records")
    weighed = row["weigh_g"] > 0
    used = [name for name in own["material"].unique() if name]
    return {
        "bath": row["bath"],
        "head": words.say(f"series.kind_{row['kind']}", fibre=row["fibre"]),
        "day": words.say("series.day_of_round", day=row["day"], round=row["round"]),
        "heat": f"{row['temperature_C']:.0f} °C",
        "time": words.say("series.minutes", minutes=f"{row['minutes']:.0f}"),
        "fibre_g": f"{row['fibre_g']:.1f}",
        "water": _volume(row["water_L"]),
        "weigh": _fixed(row["weigh_g"], 2) if weighed else "",
        "material": row["material"],
        "more": [(_fixed(one["weigh_g"], 2), one["material"]) for one in more],
        "sum": f"{row['wof']:g} % WOF × {row['fibre_g']:.1f} g / 100" if weighed else "",
        "note": row["note"],
        "hazard": " ".join(recipe.hazards(used, listed)),
        "advice": " ".join([*_measured_out(own, listed), *recipe.notes(used, listed)]),
        "many": row["swatches"],
        "codes": row["codes"],
    }


def _fixed(value: float, decimals: int) -> str:
    """A number with so many decimals; with more where they would leave less than two figures."""
    return f"{value:.{decimals}f}" if value >= 10.0 ** (1 - decimals) else f"{value:.2g}"


def _volume(litres: float) -> str:
    return f"{litres:.1f} L" if litres >= 1 else f"{1000 * litres:.0f} mL"


def _measured_out(own: pd.DataFrame, listed: pd.DataFrame) -> list[str]:
    rows = own[own["material"] != ""].to_dict("records")
    said = [recipe.how_to_measure(row["material"], row["weigh_g"], listed) for row in rows]
    return [text for text in said if text]


def timetable(planned: Series, pots: int = 2, start: int = 9) -> list[dict[str, Any]]:
    """Return the days of a series: each bath with its time, so many pots on at once.

    A stage begins when the one before it has ended; a hot bath takes half an hour to warm, a vat an
    hour more until it is reduced.

    Examples
    --------
    >>> from dyelab import plan
    >>> levels = {"fibre": ["wool"], "dye": ["madder 50"], "iron": [0, 2]}
    >>> series = plan.series(levels, name="Iron")
    >>> [row["bath"] for row in plan.timetable(series)[0]["rows"]]
    ['S1']
    """
    days = []
    for day, rows in planned.baths.groupby("day"):
        clock = start * 60.0
        lines: list[dict[str, Any]] = []
        for together in _stages(rows):
            clock = _stage(together, clock, pots, planned.water_bath, lines)
        said = words.say("series.day_of_round", day=day, round=rows["round"].iloc[0])
        days.append({"day": said, "rows": lines, "hours": clock / 60 - start})
    return days


def _stages(rows: pd.DataFrame) -> list[pd.DataFrame]:
    """Baths that can be on together, in order; a dye over a vat waits for it."""
    of = {kind: rows[rows["kind"] == kind] for kind in BATH_KINDS}
    dyes = (of.pop("dye"), of.pop("vat"))
    late = [of.pop(kind) for kind in ("modifier", "rinse")]
    layers = sorted({*dyes[0]["layer"], *dyes[1]["layer"]})
    return [*of.values(), *(own[own["layer"] == n] for n in layers for own in dyes), *late]


def effort(planned: Series, pots: int = 2) -> dict[str, Any]:
    """Count what a series asks for: what one looks at before one says yes.

    Returns
    -------
    dict
        `pots` (baths of the busiest round, rinses apart), `baths`, `rounds`, `days`, `hours`
        (with so many pots on at once), `salts_g` (grams of mordants and metal salts).

    Examples
    --------
    >>> from dyelab import plan
    >>> levels = {"fibre": ["wool"], "dye": ["madder 50"], "iron": [0, 2]}
    >>> series = plan.series(levels, name="Iron")
    >>> plan.effort(series)["pots"]
    4
    """
    pots_used = planned.baths[planned.baths["kind"] != "rinse"]
    salts = pots_used[pots_used["kind"].isin(["mordant", "modifier"])]
    days = timetable(planned, pots)
    many = int(pots_used.groupby("round")["bath"].nunique().max())
    baths, rounds = int(pots_used["bath"].nunique()), int(planned.baths["round"].nunique())
    told = {"pots": many, "baths": baths, "rounds": rounds, "days": len(days)}
    hours = sum(day["hours"] for day in days)
    return {**told, "hours": hours, "salts_g": float(salts["weigh_g"].sum())}


def _stage(
    rows: pd.DataFrame, clock: float, pots: int, jars: int, lines: list[dict[str, Any]]
) -> float:
    """Put a stage's baths on, one after another; jars of one heat stand in one water bath."""
    free = [clock] * max(pots, 1)
    for together in _put_on(rows, jars):
        pot, first = free.index(min(free)), together[0]
        takes = first["minutes"] + (_WARM_UP if first["temperature_C"] > 30 else 0)
        takes += _REDUCE if first["kind"] == "vat" else 0
        times = {"from": _clock(free[pot]), "to": _clock(free[pot] + takes)}
        lines += [{**times, **_line(row)} for row in together]
        free[pot] += takes
    return max(free)


def _put_on(rows: pd.DataFrame, jars: int) -> list[list[dict[Any, Any]]]:
    """Baths heated together: each alone, or so many jars of one heat and time."""
    heats = [part for _, part in rows.groupby(["temperature_C", "minutes"], sort=False)]
    alone = jars or 1
    parts = [one.to_dict("records") for one in (heats if jars else [rows])]
    return [part[at : at + alone] for part in parts for at in range(0, len(part), alone)]


def _line(row: dict[Any, Any]) -> dict[str, Any]:
    heat = f"{row['temperature_C']:.0f} °C, {row['minutes']:.0f} min"
    head = words.say(f"series.kind_{row['kind']}", fibre=row["fibre"])
    what = f"{head}: {row['material']} ({row['swatches']})" if row["material"] else head
    return {"bath": row["bath"], "what": what, "heat": heat}


def _clock(minutes: float) -> str:
    days, rest = divmod(int(minutes), 24 * 60)
    return f"{rest // 60:02}:{rest % 60:02}" + (f" +{days}" if days else "")


def labels(bk: Book, path: str | Path, *, paper: str = "A4", swatches: Any = None) -> Path:
    """Write labels for swatches of a book that have a label's number, as PDF.

    Parameters
    ----------
    bk : Book
        See `with_label_numbers`.
    path : str or Path
    paper : {"A4", "Letter"}
    swatches : iterable of str, optional
        Some of them.

    Raises
    ------
    InputError
        If none has a number, or the paper is unknown.

    Examples
    --------
    >>> from dyelab import book, plan, synth
    >>> bk = book.open(synth.example())
    >>> plan.labels(plan.with_label_numbers(bk), folder / "labels.pdf", swatches=["W01"]).name
    'labels.pdf'
    """
    errors.choose(paper, press.PAPERS, "paper")
    from dyelab import book

    rows = bk.swatches[bk.swatches["label_number"].notna()]
    if swatches is not None:
        rows = rows[rows["swatch"].isin(list(swatches))]
    if rows.empty:
        raise InputError(words.say("series.no_labels"))
    recipes = book.recipes(bk).drop(columns=["fibre", "label_number"], errors="ignore")
    full = rows.merge(recipes[["swatch", *(c for c in RECIPE if c in recipes)]], on="swatch")
    template, data = _sheet("labels", bk.title, paper)
    data |= _label_data(full.assign(purpose="series"), paper)
    return press.pdf(template, data, path, pictures=_marks(full))


def _marks(rows: pd.DataFrame) -> dict[str, bytes]:
    """Pictures of the labels' markers, by file name."""
    return {f"{i}.svg": label_svg(int(n)) for i, n in enumerate(rows["label_number"])}


def _label_data(rows: pd.DataFrame, paper: str) -> dict[str, Any]:
    columns = int((_WIDTHS[paper] - 16) // _LABEL)
    named = enumerate(map(recipe_line, rows.to_dict("records")))
    codes = rows["swatch"].tolist()
    labels = [{"code": codes[i], "recipe": line, "mark": f"{i}.svg"} for i, line in named]
    side = (_WIDTHS[paper] - columns * _LABEL) / 2
    about = words.say("series.label_hint")
    return {"labels": labels, "columns": columns, "side": side, "strip": about}


def recipe_line(row: Any) -> str:
    """Return a recipe in one line, as it stands on a label.

    Examples
    --------
    >>> from dyelab import plan
    >>> levels = {"fibre": ["wool"], "dye": ["madder 50"], "iron": [0, 2]}
    >>> series = plan.series(levels, name="Iron")
    >>> plan.recipe_line(series.swatches.iloc[0])
    'wool: madder 50, iron 2'
    """
    parts = [
        str(part).replace(" x", " ×")
        for name in ("tannin", "mordant", "dye", "modifier")
        if row[name] != "none"
        for part in parted(row[name], row.get(f"{name}_wof", float("nan")))
    ]
    parts += [f"{name} {row[f'{name}_wof']:g}" for name in METALS if row.get(f"{name}_wof")]
    if row["purpose"] != "series" and not parts:
        parts = [words.say("recipe_words.undyed", fibre="").strip()]
    return f"{row['fibre']}: {', '.join(parts)}" if parts else str(row["fibre"])


def _check_data(planned: Series) -> dict[str, Any]:
    kinds = [kind for kind in BATH_KINDS if (planned.baths["kind"] == kind).any()]
    joined = planned.steps.groupby(["swatch", stage(planned.steps)])["bath"].agg(", ".join)
    baths: dict[Any, str] = joined.to_dict()
    rows = []
    for row in planned.swatches.to_dict("records"):
        own = [baths.get((row["swatch"], kind), "") for kind in kinds]
        told = {"place": row["place"], "code": row["swatch"]}
        rows.append({**told, "recipe": recipe_line(row), "baths": own})
    named = [words.say(f"series.column_{kind}") for kind in kinds]
    return {"kinds": named, "rows": rows, "cannot": planned.cannot, "notes": planned.notes}
