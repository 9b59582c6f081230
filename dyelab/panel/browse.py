"""Browse a book: find swatches by words, see them as patches, open one with all that is known."""

import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from dyelab import book as books
from dyelab import measure, recipe, shift, table, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.handout import fastness_texts
from dyelab.handout.page import capital
from dyelab.panel import choices, frame
from dyelab.table import LAB, WHITE

_MOST = 72  # patches: more take a page longer to draw than the eye to tire
_ORDERS = ("recipe", "book", "lightness", "hue", "metals", "series")
_TABLE = ["fibre", "tannin", "tannin_wof", "mordant", "mordant_wof", "dye", "dye_wof"]
_REST = ["modifier", *LAB]
_RECIPE = ["fibre", "dye", "dye_wof", "tannin", "tannin_wof", "mordant", "mordant_wof"]
_RECIPE += shift.METALS.values()
_READING = ["reading", "exposure", "amount", "unit", "area", "part"]
_READING += [*LAB, *table.STANDARD_UNCERTAINTIES, *WHITE, "method", "flags", "taken_at"]
_PICTURE = 640  # pixels: a photo as wide as the panel


def panel(book: frame.BookChoice = None) -> frame.Panel:
    """Find, look, and open one swatch.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    return frame.Panel("browse", "browse.title", _choose, _show, refresh=_fit, book=book)


def _choose(book: Book) -> dict[str, Any]:
    if book.swatches.empty:
        raise InputError(words.say("browse.empty"))
    orders = choices.options("browse.by_", _ORDERS)
    like = words.say("browse.find_like", metal=shift.metals_of(books.recipes(book))[0])
    return {
        "find": choices.text("browse.find", hint=like),
        "order": choices.pick("browse.order", orders),
        "swatch": choices.pick("browse.swatch", _codes(book.swatches["swatch"])),
    }


def _codes(found: Any) -> list[tuple[str, str]]:
    return [(words.say("browse.every"), ""), *((code, code) for code in found)]


def _fit(book: Book, made: dict[str, Any]) -> None:
    choices.set_options(made["swatch"], _codes(books.search(book, made["find"].value)["swatch"]))


def _show(book: Book, find: str, order: str, swatch: str) -> frame.Answer:
    if swatch:
        return _page(book, swatch)
    rows = _with_colours(book, books.search(book, find))
    if rows.empty:
        raise InputError(words.say("browse.nothing"))
    rows = _sort(rows, order)
    areas = ["area"] if rows["area"].ne("whole").any() else []
    where = words.say("browse.where", text=find.strip()) if find.strip() else ""
    total = len(book.swatches)
    found = rows["swatch"].nunique()
    sentence = words.say("browse.found", found=found, all=total, where=where)
    named = zip(table.pieces(rows), rows.head(_MOST).to_dict("records"), strict=False)
    chips = [frame.Chip.of(row, name, _recipe(row)) for name, row in named]
    shown = rows[["swatch", *areas, *_TABLE, *_metals(rows), *_REST]]
    return frame.Answer(sentence, table=shown, chips=chips, notes=_notes(book, rows))


def _with_colours(book: Book, found: pd.DataFrame) -> pd.DataFrame:
    """Recipes with the first reading before any exposure, blank where there is none."""
    read = book.readings
    fresh = read[(read["exposure"] == "none") & (read["part"] == "swatch")]
    first = fresh.drop_duplicates(["swatch", "area"])[["swatch", "area", *LAB, *WHITE]]
    return _parts(book, found).merge(first, on=["swatch", "area"], how="left")


def _parts(book: Book, found: pd.DataFrame) -> pd.DataFrame:
    """Recipes of swatches; of a printed cloth, which has no one recipe, those of its areas."""
    rows = found[["swatch"]].merge(books.areas(book), on="swatch")
    printed = rows.groupby("swatch")["area"].transform("nunique") > 1
    return rows[~printed | rows["area"].ne("whole")]


def _sort(rows: pd.DataFrame, order: str) -> pd.DataFrame:
    if order == "recipe":
        return rows.sort_values(_RECIPE, kind="stable", na_position="first")
    if order == "metals":
        return rows.sort_values([*shift.METALS.values()], kind="stable", na_position="last")
    hue = np.degrees(np.arctan2(rows["b"], rows["a"])) % 360
    keys: dict[str, Any] = {"lightness": rows["L"], "hue": hue, "series": rows["series"]}
    if order not in keys:
        return rows
    return rows.loc[keys[order].sort_values(kind="stable", na_position="last").index]


def _metals(rows: pd.DataFrame) -> list[str]:
    """Columns of the metals that any of these has."""
    return [column for column in shift.METALS.values() if (rows[column] != 0).any()]


def _recipe(row: Any) -> str:
    bare = ("dye",) if row["dye"] == "none" else ()
    said = shift.in_words(row, ("fibre", "form", "ground", "rest", "area", *bare))
    return f"{row['fibre']}: {said or words.say('variants.bare')}"


def _notes(book: Book, rows: pd.DataFrame) -> list[str]:
    unread = int(rows["L"].isna().sum())
    notes = [words.say("browse.unread", count=unread)] if unread else []
    if len(rows) > _MOST:
        notes.append(words.say("browse.too_many", shown=_MOST, find=words.say("browse.find")))
    if len(book.faults):
        text = book.faults["text"].iloc[0]
        notes.append(words.say("browse.faults", count=len(book.faults), text=text))
    return [*notes, *book.notes]


def _page(book: Book, swatch: str) -> frame.Answer:
    """All that is known of one swatch."""
    parts = _parts(book, pd.DataFrame({"swatch": [swatch]})).to_dict("records")
    told = [_recipe(row) for row in parts]
    if len(parts) > 1:
        areas = zip(parts, told, strict=True)
        told = [words.say("browse.area", area=row["area"], recipe=said) for row, said in areas]
    readings = book.readings[book.readings["swatch"] == swatch]
    sentence = words.say("browse.page", swatch=swatch, recipe="; ".join(told))
    if readings.empty:
        sentence += " " + words.say("browse.no_reading")
    readings = table.with_uncertainties(readings, table.covariances(readings))
    cloth = measure.crops(readings.head(_MOST), book.path)
    whole = [] if cloth else books.photos_of(book, swatch)  # the card is shown where it must be
    return frame.Answer(
        sentence,
        table=readings[_READING].dropna(axis=1, how="all") if len(readings) else None,
        chips=_strips(readings.head(_MOST), cloth),
        notes=[*_steps(book, swatch), *_story(book, swatch)],
        care=cautions(book, swatch),
        pictures=_pictures(book, whole),
    )


def _strips(readings: pd.DataFrame, cloth: dict[str, bytes]) -> list[list[frame.Chip]]:
    """A strip for each area and test, edge to edge, as dyed first and then as it went."""
    ordered = readings.sort_values(["amount"], kind="stable", na_position="first")
    fresh = ordered[ordered["exposure"] == "none"]
    strips = []
    for (area, part), rows in ordered.groupby(["area", "part"], sort=False):
        tests = [name for name in dict.fromkeys(rows["exposure"]) if name != "none"]
        first = fresh[(fresh["area"] == area) & (fresh["part"] == part)]
        for name in tests or ["none"]:
            after = rows[rows["exposure"] == name]
            strip = pd.concat([first, after]) if name != "none" else after
            strips.append([_piece(row, cloth) for row in strip.to_dict("records")])
    return strips


def _piece(row: Any, cloth: dict[str, bytes]) -> frame.Chip:
    note = ", ".join(x for x in (row["area"], row["part"]) if x not in ("whole", "swatch"))
    made = frame.Chip.of(row, _exposure(row), note)
    return replace(made, crop=cloth.get(row["reading"], b""))


def _exposure(row: Any) -> str:
    if row["exposure"] == "none":
        return words.say("browse.as_dyed")
    return fastness_texts.after_what(row)


def _steps(book: Book, swatch: str) -> list[str]:
    done = book.steps[book.steps["swatch"] == swatch].sort_values("order")
    return [step_text(row) for row in done.to_dict("records")]


def step_text(row: Any) -> str:
    """Say a row of the steps: ``2. mordant: potash alum, 15 % WOF, 85 °C``."""
    kind, planned = words.heading(row["kind"]), row["state"] == "planned"
    said = words.say("browse.step", order=int(row["order"]), kind=kind, what=what(row))
    return said + (words.say("browse.planned") if planned else "")


def cautions(book: Book, swatch: str) -> tuple[str, ...]:
    """Cautions of every material of a swatch's steps."""
    used = book.steps.loc[book.steps["swatch"] == swatch, "material"].unique()
    return recipe.cautions(used, books.materials(book))


def what(row: Any) -> str:
    """Say what was done in a step: material, dose, heat, time."""

    def told(name: str, shape: str) -> str:
        return shape.format(row[name]) if pd.notna(row[name]) else ""

    area = row["area"] if row["area"] != "whole" else ""
    dose = "" if pd.isna(row["amount"]) else f"{words.number(row['amount'])} {row['unit']}"
    said = [row["material"], dose.strip(), area]
    said += [told("temperature_C", "{:g} °C"), told("minutes", "{:g} min"), told("pH", "pH {:g}")]
    done = ", ".join(filter(None, said))
    return ". ".join(filter(None, [done, capital(str(row["note"]))]))


def _story(book: Book, swatch: str) -> list[str]:
    told = books.swatch_history(book, swatch)
    if told.empty:
        return [words.say("browse.no_history")]
    return [
        words.say("browse.history", when=row["saved_at"][:16].replace("T", " "), what=row["what"])
        for row in told.to_dict("records")
    ]


def _pictures(book: Book, paths: list[Path]) -> list[tuple[str, bytes]]:
    from PIL import Image, ImageOps, UnidentifiedImageError

    named = dict(zip(book.photos["photo"], book.photos["original"], strict=True))
    found = []
    for path in paths:
        try:
            with Image.open(path) as photo:
                small = ImageOps.exif_transpose(photo)
                small.thumbnail((_PICTURE, _PICTURE))
                out = io.BytesIO()
                small.convert("RGB").save(out, "PNG")
        except (OSError, UnidentifiedImageError, Image.DecompressionBombError):
            continue
        said = words.say("browse.photo", name=named.get(path.name) or path.name)
        found.append((said, out.getvalue()))
    return found
