"""Plan a printed or painted cloth: areas with mordants of their own, one dye bath."""

from collections import Counter
from typing import Any

import pandas as pd

from dyelab import book as books
from dyelab import plan, recipe, words
from dyelab.book import Book
from dyelab.errors import InputError
from dyelab.panel import book_choice, choices, frame
from dyelab.recipe.advice import CELLULOSE, PROTEIN

_SHOWN = ["order", "area", "kind", "material", "wof", "weigh_g", "temperature_C", "minutes"]


def panel(book: frame.BookChoice = None) -> frame.Panel:
    """Say what goes on each area of a cloth; see its steps, put it into the book.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the last one, else the example.
    """
    actions = {"printing.put": _into}
    return frame.Panel(
        "printing", "printing.title", _choose, _show, actions=actions, main=True, book=book
    )


def _into(panel: frame.Panel) -> str:
    target, code = panel.own("printing.example_kept"), panel.values["code"].strip()
    saved = panel.save_book(books.add(target, **plan_cloth(target, **panel.values)), code)
    areas = len(read_areas(panel.values["areas"]))
    return words.say("printing.put_in", code=code, book=saved.title, areas=areas)


def _choose(book: Book) -> dict[str, Any]:
    say, listed = words.say, books.materials(book)
    dyes = list(listed.loc[listed["role"].isin(["dye", "vat"]), "material"])
    fixing = ["wheat bran", "chalk"]
    fixing += [n for n in listed.loc[listed["role"].eq("modifier"), "material"] if n not in fixing]
    fibres = sorted(PROTEIN | CELLULOSE)
    return {
        "code": choices.text("printing.code", book_choice.free(book, "P")),
        "fibre": choices.pick("printing.fibre", fibres, "cotton"),
        "mass_g": choices.number("printing.mass_g", 20, low=0.1, high=1e5, step=1, unit="g"),
        "areas": choices.text("printing.areas", say("printing.start"), long=True),
        "fixing": choices.pick("printing.fixing", fixing),
        "dye": choices.pick("printing.dye", dyes, "madder"),
        "dose": choices.number("printing.dose", 30, low=0.1, high=300, step=5, unit="% WOF"),
        "series": choices.text("printing.series"),
    }


def read_areas(text: str) -> dict[str, str]:
    """Areas and what is put on each, from lines such as ``leaf = aluminium acetate 5``.

    Raises
    ------
    InputError
        For a line that isn't so, or an area named twice.
    """
    found = choices.equations(text, r"[\n;]", "printing.line")
    named = Counter(area for area, _ in found)
    if twice := [area for area, count in named.items() if count > 1]:
        raise InputError(words.say("printing.twice", area=twice[0]))
    return dict(found)


def plan_cloth(book: Book, **chosen: Any) -> dict[str, pd.DataFrame]:
    """Swatch and steps of the choices made, ready for ``book.add``."""
    code = chosen["code"].strip() or book_choice.free(book, "P")
    if code in set(book.swatches["swatch"]):
        raise InputError(words.say("printing.taken", code=code, free=book_choice.free(book, "P")))
    told = {name: chosen[name] for name in ("fibre", "fixing", "mass_g")}
    told |= {"dye": f"{chosen['dye']} {chosen['dose']:g}", "series": chosen["series"].strip()}
    listed = books.materials(book)
    return plan.printed_cloth(code, read_areas(chosen["areas"]), **told, listed=listed)


def _show(book: Book, **chosen: Any) -> frame.Answer:
    made, listed = plan_cloth(book, **chosen), books.materials(book)
    steps, areas = made["steps"], read_areas(chosen["areas"])
    told = {"fibre": chosen["fibre"], "fixing": chosen["fixing"], "areas": ", ".join(areas)}
    told |= {"dye": f"{chosen['dye']} {words.number(chosen['dose'])} %"}
    code = made["swatches"]["swatch"].iloc[0]
    sentence = words.say("printing.sentence", code=code, **told)
    bare = [area for area in areas if area not in set(steps["area"])]
    if bare:
        sentence += " " + words.say("printing.bare", bare=", ".join(bare))
    advice = recipe.advise(steps, made["swatches"], listed)["advice"]
    cautions = recipe.cautions(steps["material"].unique(), listed)
    notes, table = [*advice, words.say("printing.paste")], _table(steps, chosen["mass_g"])
    return frame.Answer(sentence, table=table, notes=notes, care=cautions)


def _table(steps: pd.DataFrame, mass_g: float) -> pd.DataFrame:
    """Steps in order; grams where the whole cloth takes them."""
    whole = steps["area"].eq("whole")
    weigh = [recipe.grams(dose, mass_g) for dose in steps["amount"].fillna(0)]
    grams = pd.Series(weigh, steps.index).where(whole)
    return steps.assign(wof=steps["amount"], weigh_g=grams)[_SHOWN]
