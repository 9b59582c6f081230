"""The fastness page: before and after side by side, grades, curves, and what may be promised."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from dyelab import book as books
from dyelab import grade, measure, table, words
from dyelab.book import Book
from dyelab.errors import choose
from dyelab.handout import colours, fastness_texts
from dyelab.handout import page as parts
from dyelab.plot import fastness as drawn

# How much of each fits one A4 sheet beside the table and the cautions.
_FEW = 3  # swatches of a cloth shown with every reading on its sheet
_SHEETS = 4  # cloths with a sheet each; a page about more is an overview
_STRIPS = 6  # swatches with every reading on the longer page; more, before and after only
_PAIRS, _LEAST = 18, 3  # swatches shown before and after, and how many of them changed least
_CURVES = 4  # in one figure
_SMALL = 135  # pixels: height of a curve's panel on a sheet
_LONGEST = 8  # chips in one row
_RECORD = ("method", "conditions", "detergent", "lamp", "started_on", "ended_on", "who", "note")


def sheet(
    bk: Book,
    own: parts.Header = parts.Header(),
    *,
    swatches: Any = None,
    series: str | None = None,
    full: bool = False,
) -> parts.Page:
    """Describe the fastness of some swatches of a book.

    Parameters
    ----------
    bk : Book
    own : Header
    swatches : iterable of str, optional
        All tested ones without it.
    series : str, optional
        Those of one series.
    full : bool
        The longer page: every number, the shapes of the curves, how it was worked out.

    Raises
    ------
    InputError
        If nothing has been measured after a test, or a swatch or series isn't there.
    """
    wide = books.wide(bk)
    given: Any = {"shared": bk.shared, "spectra": bk.spectra}
    given["swatches"] = _of_series(bk, series) if series and swatches is None else swatches
    found = grade.study(wide if full else _hardest(wide), **given)
    if not full and found.grades["swatch"].nunique() <= _SHEETS * 2 * _FEW:
        found = grade.study(wide, **given)  # a sheet may show every reading, an overview doesn't
    return page(found, bk.tests, own, book=bk, full=full)


def _hardest(wide: pd.DataFrame) -> pd.DataFrame:
    """Readings before, and after the most that each swatch had; all of the blue wools."""
    return wide[colours.at_most(wide) | grade.is_reference(wide)]


def _of_series(bk: Book, series: str) -> list[str]:
    choose(series, sorted(set(bk.swatches["series"]) - {""}), "series", "in this book")
    return list(bk.swatches.loc[bk.swatches["series"].eq(series), "swatch"])


def page(
    found: grade.Study,
    tests: pd.DataFrame | None = None,
    own: parts.Header = parts.Header(),
    *,
    book: Book | None = None,
    full: bool = False,
) -> parts.Page:
    """Describe a study: a sheet a cloth, an overview of many, or with `full` everything.

    `tests` holds the test records of the book; with `book`, its photos give crops of the cloth.
    """
    if full:
        everything = _everything(found, tests)  # its tables are wide
        return own.page(words.say("fastness.title"), everything, landscape=True, **foot(found))
    cloths = list(_cloths(found).items())
    aside: tuple[str, ...] = ()
    if len(cloths) > _SHEETS or max(rows["swatch"].nunique() for _, rows in cloths) > 2 * _FEW:
        blocks, aside = _overview(found, tests, book), (words.say("fastness.more"),)
    else:
        crops = _crops(found.grades, book)
        blocks = []
        for name, rows in cloths:
            blocks += [parts.NewPage()] if blocks else []
            heading = [parts.Heading(parts.capital(name))] if len(cloths) > 1 else []
            blocks += [*heading, *_sheet(_only(found, set(rows["swatch"])), tests, crops)]
    title = words.say("fastness.title")
    if len(cloths) == 1:
        title = f"{title}: {cloths[0][0]}"
    # two swatches of a cloth, their table and the cautions fill one sheet only with small margins
    return own.page(title, blocks, tight=True, aside=aside, **foot(found))


def _white(found: grade.Study) -> tuple[str, int]:
    return table.one_white(found.grades) if len(found.grades) else table.DEFAULT_WHITE


def foot(found: grade.Study) -> dict[str, Any]:
    """What the foot of the page says of these readings."""
    return {"white": _white(found), "how": colours.read_how(found.grades)}


def _cloths(found: grade.Study) -> dict[str, pd.DataFrame]:
    """Tested swatches by cloth: one dye on one fibre; the swatch where neither is known."""
    rows = found.grades
    told = rows[[name for name in ("swatch", "dye", "fibre") if name in rows]]
    names = [cloth_name(row) for row in told.to_dict("records")]
    return {str(name): part for name, part in rows.groupby(names, sort=False)}


def cloth_name(row: dict[Any, Any]) -> str:
    """What a cloth is called: its dye and fibre."""
    dye, fibre = row.get("dye"), row.get("fibre")
    if not isinstance(dye, str) or not isinstance(fibre, str):
        return str(row["swatch"])
    key = "undyed_cloth" if dye == "none" else "cloth"
    return words.say(f"fastness.{key}", dye=dye, fibre=fibre)


def _only(found: grade.Study, swatches: set[str]) -> grade.Study:
    """The part of a study that is about some swatches."""
    rows = found.grades[found.grades["swatch"].isin(swatches)].reset_index(drop=True)
    beside = found.beside
    beside = beside[beside["swatch"].isin(swatches)] if len(beside) else beside
    return replace(found, grades=rows, beside=beside, missing=(), gaps=())


def _crops(grades: pd.DataFrame, book: Book | None) -> dict[str, bytes]:
    """Crops of every reading shown, where it came from a photo of the book."""
    if book is None:
        return {}
    named = {name.split(", ")[0] for end in ("before", "after") for name in grades[end]}
    return measure.crops(book.readings[book.readings["reading"].isin(named)], book.path)


def _sheet(found: grade.Study, tests: pd.DataFrame | None, crops: dict[str, bytes]) -> list[Any]:
    """One cloth on one sheet."""
    shown = [(name, list(_pieces(found.of(name)).values())) for name in found.exposures]
    strips = sum(len(pieces) for _, pieces in shown)
    blocks = _open(found)
    for exposure, pieces in shown:
        told = words.wording("fastness.", exposure)
        if 0 < len(pieces) <= _FEW:
            for piece in pieces:
                named = words.say("fastness.went", name=fastness_texts.name(piece[0]), test=told)
                blocks.append(parts.Text(named, "small"))
                blocks.append(_strip(piece, crops, numbers=strips <= 2))
        elif pieces:
            blocks += [parts.Text(parts.capital(told), "small"), _pairs(found.of(exposure))]
    outlook = fastness_texts.outlook(found)
    blocks += [*_small_curves(found), *([parts.number_table(outlook)] if len(outlook) else [])]
    said = [text for name in found.exposures for text in stain_sentences(found, name)]
    said += beside_sentences(found)
    blocks += [parts.Points(tuple(said))] if said else []
    blocks += [text for name in found.exposures for text in _records(found, name, tests)]
    return [*blocks, parts.Caution(tuple(cautions(found)))]


def stain_sentences(found: grade.Study, exposure: str) -> list[str]:
    """What each swatch left on the cloths beside it."""
    rows = found.hardest(exposure, "staining")
    return [_stains(str(name), part) for name, part in rows.groupby("swatch", sort=False)]


def _stains(swatch: str, rows: pd.DataFrame) -> str:
    said = []
    for row in rows.to_dict("records"):
        told = {"part": words.part(row["part"]), "said": row["said"]}
        verdict = words.say(f"grade.{row['verdict']}")
        said.append(words.say("fastness_panel.stain", verdict=verdict, **told))
    required = rows["required"].iloc[0]
    told = {"swatch": swatch, "parts": "; ".join(said), "required": required}
    return words.say("fastness_panel.stains", **told)


def beside_sentences(found: grade.Study) -> list[str]:
    """What the blue wool references beside each swatch say of it."""
    best = found.beside[found.beside["best"]] if len(found.beside) else found.beside
    return [
        words.say("fastness_panel.beside", swatch=row["swatch"], said=row["said"])
        for row in best.to_dict("records")
    ]


def _small_curves(found: grade.Study) -> list[Any]:
    """One panel a swatch and exposure: in one row on paper, two in a row on a screen."""
    fitted = [one for name in found.exposures for one in _find_curves(found, name)]
    paper = _draw(found, fitted, "dEF", height=_SMALL)
    screen = _draw(found, fitted, "dEF", height=_SMALL, columns=2, bare=True)
    if paper is None or screen is None:
        return []
    said = " / ".join(dict.fromkeys(one.exposure for one in fitted))
    about = words.say("fastness.figure", exposure=said)
    return [parts.Live(str(screen.to_json()), about, parts.chart(paper, about))]


def _overview(found: grade.Study, tests: pd.DataFrame | None, book: Book | None) -> list[Any]:
    """Many cloths: how many of each keep the grade, and those that changed most."""
    blocks = _open(found, wools=False)
    counted = fastness_texts.by_cloth(found, cloth_name)
    least = fastness_texts.least_changed(counted)
    blocks += [parts.Points(tuple(least))] if least else []
    note = words.say("fastness.overview_note", required=found.change)
    blocks += [
        parts.Heading(words.say("fastness.overview")),
        parts.number_table(counted.drop(columns="least"), note),
    ]
    for exposure in found.exposures:
        rows = found.of(exposure)
        rows = rows[rows["dye"].ne("none")] if "dye" in rows else rows
        if len(rows):
            title = words.wording("fastness.", exposure)
            key = "most_and_least" if len(_last(rows)) > _PAIRS else "most_changed"
            told = {"most": _PAIRS - _LEAST, "least": _LEAST}
            title = f"{parts.capital(title)}: {words.say(f'fastness.{key}', **told)}"
            blocks += [parts.Heading(title), _pairs(rows, book)]
            blocks += _records(found, exposure, tests)
    return [*blocks, parts.Caution(tuple(cautions(found)))]


def _everything(found: grade.Study, tests: pd.DataFrame | None) -> list[Any]:
    blocks = _open(found)
    for exposure in found.exposures:
        blocks += _exposure(found, exposure, tests)
    blocks += _mordants(found)
    if found.missing:
        blocks += [parts.Heading(words.say("fastness.missing")), parts.Points(found.missing)]
    return [
        *blocks,
        parts.Heading(words.say("fastness.method")),
        parts.Points(tuple(words.say(f"fastness.{name}") for name in _METHOD)),
        parts.Caution(tuple(cautions(found))),
    ]


_METHOD = ("by_change", "by_staining", "by_interval", "by_curve", "by_tone", "by_reference")


def _open(found: grade.Study, *, wools: bool = True) -> list[Any]:
    """The answer, and what its numbers mean."""
    said = words.say("fastness.scale", required=found.change)
    said += f" {words.say('fastness.scale_wools')}" if wools and len(found.beside) else ""
    return [parts.Text(lead(found), "lead"), parts.Text(said, "small")]


def lead(found: grade.Study) -> str:
    """The answer: one sentence a kind of exposure."""
    changed = [name for name in found.exposures if len(found.of(name))]
    said = [grade.verdict_sentence(found, name, bare=name == changed[-1]) for name in changed]
    return " ".join(said) or words.say("fastness.staining_only")


def cautions(found: grade.Study) -> list[str]:
    """What limits these grades."""
    flagged = [words.say(f"grade.{name}") for name in _flags(found)]
    eye = words.say("fastness.eye", basis=words.say(f"fastness.by_{basis(found.grades)}"))
    white = _white(found)
    if white != table.DEFAULT_WHITE:
        flagged.append(words.say("fastness.other_white", white=table.white_text(white)))
    return [*flagged, eye, words.say("fastness.piece")]


def _flags(found: grade.Study) -> list[str]:
    """What the readings raised, each once."""
    named = dict.fromkeys(" ".join(found.grades["flags"].astype(str)).split())
    blank = found.grades["grade_worst"].eq("").any()
    return [*named, *(["no_uncertainty"] if blank else [])]


def basis(grades: pd.DataFrame) -> str:
    """How these readings were made: ``photo``, ``instrument``, ``typed`` or ``several``."""
    kinds = {"photo": "photo", "scan": "photo", "typed": "typed"}
    made = {kinds.get(str(name), "instrument") for name in grades["method"]}
    return made.pop() if len(made) == 1 else "several"


def _exposure(found: grade.Study, exposure: str, tests: pd.DataFrame | None) -> list[Any]:
    """Everything about one kind of exposure."""
    rows = found.of(exposure)
    title = parts.capital(words.wording("fastness.", exposure))
    blocks: list[Any] = [parts.Heading(title), *_records(found, exposure, tests)]
    if len(rows):
        blocks += [*_chips(rows), *_curves(found, exposure), *_say(found, exposure)]
        blocks.append(parts.number_table(fastness_texts.grade_table(found.hardest(exposure))))
    if exposure == "light":
        blocks += _beside(found)
    stained = found.hardest(exposure, "staining")
    if len(stained):
        caption = words.say("fastness.staining", required=found.staining)
        blocks.append(parts.number_table(fastness_texts.staining_table(stained), caption))
    return blocks


def _records(found: grade.Study, exposure: str, tests: pd.DataFrame | None) -> list[Any]:
    """The test records that these readings name."""
    named = set(found.grades.loc[found.grades["exposure"].eq(exposure), "test"]) - {""}
    known = pd.DataFrame(columns=["test"]) if tests is None else tests
    known = known[known["test"].isin(named)]
    told = [text for row in known.to_dict("records") if (text := _record(row))]
    return [parts.Text(text, "small") for text in told or [words.say("fastness.no_record")]]


def _record(row: dict[Any, Any]) -> str:
    told = [
        words.say(f"fastness.record_{field}", value=row[field])
        for field in _RECORD
        if isinstance(row.get(field), str) and row[field]
    ]
    return words.say("fastness.record", test=row["test"], told="; ".join(told)) if told else ""


_PIECE = ["swatch", "test"]


def _pieces(rows: pd.DataFrame) -> dict[tuple, list[dict[Any, Any]]]:
    """Grades of each piece in each test, in the order of exposure."""
    found: dict[tuple, list[dict[Any, Any]]] = {}
    for row in rows.sort_values("amount", kind="stable").to_dict("records"):
        found.setdefault(tuple(row[name] for name in _PIECE), []).append(row)
    return found


def _chips(rows: pd.DataFrame) -> list[Any]:
    """Before and after, edge to edge."""
    if len(rows.groupby(_PIECE)) > _STRIPS:
        return [_pairs(rows)]
    blocks: list[Any] = []
    for piece in _pieces(rows).values():
        blocks += [parts.Text(fastness_texts.name(piece[0])), _strip(piece, {})]
    return blocks


def _through(
    piece: list[dict[Any, Any]],
    labels: list[str],
    notes: list[str],
    crops: dict[str, bytes],
    *,
    numbers: bool = False,
) -> list[parts.Patch]:
    """One swatch before its test and after each exposure, with crops of the cloth."""
    first = {name: piece[0][f"{name}_before"] for name in table.LAB}
    frame = pd.DataFrame([{**piece[0], **first}, *piece], columns=parts.COLOUR)
    shown = [piece[0]["before"], *(row["after"] for row in piece)]
    cut = [crops.get(str(reading).split(", ")[0], b"") for reading in shown]
    return [
        replace(one, crop=crop, numbers=one.numbers if numbers else "")
        for one, crop in zip(parts.patches(frame, labels, notes), cut, strict=True)
    ]


def _strip(
    piece: list[dict[Any, Any]], crops: dict[str, bytes], *, numbers: bool = True
) -> parts.Chips:
    """One swatch through its test, in one row as it went; crops of the cloth under the chips."""
    labels = [words.say("fastness.before"), *(grade.exposure_text(row) for row in piece)]
    notes = ["", *(words.say("fastness.grade", said=row["said"]) for row in piece)]
    patches = tuple(_through(piece, labels, notes, crops, numbers=numbers))
    columns = len(patches) if len(patches) <= _LONGEST else int(np.ceil(len(patches) / 2))
    return parts.Chips(patches, columns=columns, height_mm=8 if numbers else 6, touching=True)


def _last(rows: pd.DataFrame) -> pd.DataFrame:
    """Each swatch after the most it had, the most changed first."""
    most = rows.sort_values("amount", kind="stable").drop_duplicates(_PIECE, keep="last")
    return most.sort_values("value", kind="stable")


def _pairs(rows: pd.DataFrame, book: Book | None = None) -> parts.Chips:
    """Many swatches: each before and after the most it had, the most changed first."""
    last = _last(rows)
    if len(last) > _PAIRS:
        last = pd.concat([last.head(_PAIRS - _LEAST), last.tail(_LEAST)])
    crops = _crops(last, book)
    patches: list[parts.Patch] = []
    for row in last.to_dict("records"):
        after = words.say("fastness.pair_after", after=grade.exposure_text(row))
        labels = [words.say("fastness.pair_before", swatch=row["swatch"]), after]
        grade_ = words.say("fastness.grade", said=row["said"])
        notes = [colours.recipe({**row, "area": ""}) if "dye" in row else "", grade_]
        patches += _through([row], labels, notes, crops)
    return parts.Chips(tuple(patches), columns=6, height_mm=9, touching=True, pairs=True)


def figure(
    found: grade.Study, exposure: str, quantity: str = "dEF", at: float | None = None
) -> Any | None:
    """Curves of the most changed swatches of a study, with the grade asked for drawn across."""
    return _draw(found, _find_curves(found, exposure), quantity, at=at)


def _draw(
    found: grade.Study, fitted: list[grade.Drift], quantity: str, bare: bool = False, **looks: Any
) -> Any | None:
    fitted = [one for one in fitted if quantity in one.curves]
    if not fitted:
        return None
    names = [one.swatch for one in fitted]
    labels = names if bare else [fastness_texts.name_in(found, n, bare=True) for n in names]
    looks |= {"limit": _limit(found, quantity), "white": _white(found)}
    return drawn.curves(fitted, labels, quantity, **looks)


def _find_curves(found: grade.Study, exposure: str) -> list[grade.Drift]:
    """Curves of one exposure: all of a few swatches, else the most changed."""
    fitted = [d for d in found.drifts if d.exposure == exposure]
    fitted = [d for d in fitted if d.unit == fitted[0].unit]
    if len(fitted) <= _CURVES:
        return fitted
    ends = [float(d.distances["dEF"][0, -1]) for d in fitted]
    return [fitted[i] for i in np.argsort(ends)[::-1][:_CURVES]]


def _limit(found: grade.Study, quantity: str) -> tuple[float, str] | None:
    if quantity == "dEF":
        level = grade.worst_allowed(found.change)
        return level, words.say("fastness.limit", required=found.change)
    return (grade.VISIBLE, words.say("fastness.visible")) if quantity == "dE00" else None


def _curves(found: grade.Study, exposure: str) -> list[Any]:
    made = figure(found, exposure)
    if made is None:
        return []
    about = words.say("fastness.figure", exposure=exposure)
    rows = pd.concat(
        [fastness_texts.curve_rows(one) for one in _find_curves(found, exposure)], ignore_index=True
    )
    caption = words.say("fastness.curve_table")
    return [parts.live(made, about), parts.number_table(rows, caption)]


def _say(found: grade.Study, exposure: str) -> list[Any]:
    """Forecasts and changes of tone, in sentences."""
    rows = found.hardest(exposure)
    if len(rows) > _STRIPS:
        turned = rows[rows["tone_kind"].eq("tone change")]
        texts = [grade.tone_sentence(row) for _, row in turned.head(10).iterrows()]
        return [parts.Points(tuple(texts))] if texts else []
    texts = []
    for _, row in rows.iterrows():
        texts.append(grade.forecast_sentence(found, row["swatch"], exposure))
        texts.append(grade.tone_sentence(row))
    return [parts.Points(tuple(text for text in texts if text))]


def _beside(found: grade.Study) -> list[Any]:
    """Light fastness by the references beside the samples, and from the dose alone."""
    blocks: list[Any] = []
    if len(found.beside):
        best = found.beside[found.beside["best"]].assign(exposure="light")
        rows = best.rename(columns={"said": "blue_wool"})
        rows["after"] = [grade.exposure_text(row) for row in best.to_dict("records")]
        rows = rows[["swatch", "after", "difference", "blue_wool"]]
        blocks.append(parts.number_table(rows, words.say("fastness.beside")))
    lit = [one for one in found.drifts if one.exposure == "light"][:_STRIPS]
    lines = [text for one in lit if (text := _from_dose(one))]
    return [*blocks, *([parts.Points(tuple(lines))] if lines else [])]


def _from_dose(one: grade.Drift) -> str:
    """An estimate from the dose at which the change reached grade 4."""
    if one.exposure != "light" or one.unit != "lx h":
        return ""
    when = grade.reaches_noticed(one)
    if not np.isfinite(when.middle):
        return ""
    middle, without = (grade.from_dose(when.middle, uv=uv)[0] for uv in (True, False))
    low, high = (grade.from_dose(x)[0] if x > 0 else 1.0 for x in (when.earliest, when.latest))
    told = {"value": f"{middle:.1f}", "without": f"{without:.1f}"}
    told["span"] = fastness_texts.span(low, high)
    return words.say("fastness.from_dose", swatch=one.swatch, **told)


def _mordants(found: grade.Study) -> list[Any]:
    """Variants of one dye and cloth held against the one with the fewest metals."""
    told = fastness_texts.comparison(found)
    if told.empty:
        return []
    note = words.say("fastness.mordants_note")
    heading = parts.Heading(words.say("fastness.mordants"))
    return [heading, parts.number_table(fastness_texts.by_mordant(told), note)]
