"""Iron and copper: where a dyed colour goes when a metal joins, and what the cloth does alone."""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from dyelab import words
from dyelab.errors import InputError
from dyelab.handout import variants
from dyelab.panel import choices, frame
from dyelab.plot import plane

_PICKED = ("fibre", "dye", "tannin", "mordant")


@dataclass(frozen=True)
class _Bench:
    """What the panel needs of a book, read once."""

    rows: pd.DataFrame
    made: pd.DataFrame
    shared: pd.DataFrame | None


def panel(book: Any = None) -> frame.Panel:
    """Pick a dye and a cloth, move the metals, see the colour travel.

    Parameters
    ----------
    book : Book or path, optional
        Else the one the session was opened with, else the example.
    """
    title = words.say("metals.title")
    return frame.Panel(
        "iron-and-copper", title, _choose, _show, refresh=_fit, prepare=_bench, book=book
    )


def _bench(book: Any) -> _Bench:
    from dyelab import book as books

    rows = variants.as_dyed(books.wide(book))
    return _Bench(rows, variants.variants(rows), book.shared)


def _choose(bench: _Bench) -> dict[str, Any]:
    dyed = bench.made[bench.made["dye"] != "none"]
    if dyed.empty:
        raise InputError(words.say("metals.no_dyes"))
    picks = {
        name: choices.pick(words.say(f"metals.{name}"), dyed[name].unique()) for name in _PICKED
    }
    doses = {
        metal: choices.steps(words.say(f"metals.{metal}"), _doses(dyed, metal))
        for metal in variants.METALS
    }
    return {**picks, **doses}


def _doses(made: pd.DataFrame, metal: str) -> list[tuple[str, float]]:
    found = sorted({0.0, *made[f"{metal}_wof"].fillna(0.0).astype(float)})
    return [(variants.dose(dose), dose) for dose in found]


def _fit(bench: _Bench, widgets: dict[str, Any]) -> None:
    """Offer only what was dyed: each choice narrows those below it."""
    left = bench.made[bench.made["dye"] != "none"]
    for name in _PICKED:
        choices.set_options(widgets[name], list(left[name].unique()))
        left = left[left[name] == widgets[name].value]
    for metal in variants.METALS:
        choices.set_options(widgets[metal], _doses(left, metal))


def _show(bench: _Bench, iron: float, copper: float, **picked: str) -> frame.Shown:
    family = variants.only(bench.made, **picked)
    before = _one(family, 0.0, 0.0)
    if before is None:
        raise InputError(words.say("metals.no_start", recipe=_named(family)))
    after = _one(family, iron, copper)
    if after is None:
        raise InputError(_not_dyed(family, iron, copper))
    way = _way(family, iron, copper).assign(
        group=words.say("metals.dyed", dye=picked["dye"]), path="dye"
    )
    controls = _controls(bench.made, picked, iron, copper)
    pairs = _pairs(before, after, way, controls)
    compared = variants.differences(bench.rows, pairs, bench.shared) if pairs else None
    drawn = plane.figure(
        pd.concat([way, *controls.values()], ignore_index=True),
        path="path",
        spans=plane.around(_reach(bench.made, picked)),
    )
    return frame.Shown(
        _sentence(picked, iron, copper, compared, controls),
        drawn,
        _table(compared, way, controls),
        _chips(before, after, controls),
        _notes(controls, iron, copper),
    )


def _one(family: pd.DataFrame, iron: float, copper: float) -> pd.Series | None:
    """Return the recipe with these doses; of several (a dye dose more), the best replicated."""
    found = variants.only(family, iron_wof=iron, copper_wof=copper)
    if found.empty:
        return None
    return found.sort_values("pieces", ascending=False, kind="stable").iloc[0]


def _way(family: pd.DataFrame, iron: float, copper: float) -> pd.DataFrame:
    """From the unmodified swatch over the rising doses that were dyed, one metal at a time."""
    stops = [(dose, 0.0) for _, dose in _doses(family, "iron") if dose <= iron]
    stops += [(iron, dose) for _, dose in _doses(family, "copper") if 0 < dose <= copper]
    found = [_one(family, *stop) for stop in stops]
    return pd.DataFrame([one for one in found if one is not None])


def _controls(
    made: pd.DataFrame, picked: dict[str, str], iron: float, copper: float
) -> dict[str, pd.DataFrame]:
    """Cloth without dye and without the metal, and with it: bare, and with the tannin alone."""
    undyed = variants.only(made, fibre=picked["fibre"], dye="none")
    wanted = {"undyed": "none", "tannin_only": picked["tannin"]}
    found = {}
    for name, tannin in wanted.items():
        part = _nearest(variants.only(undyed, tannin=tannin), picked["mordant"])
        ends = [_one(part, 0.0, 0.0), _one(part, iron, copper)]
        rows = (
            pd.DataFrame([end for end in ends if end is not None]).drop_duplicates("variant")
            if any(end is not None for end in ends)
            else pd.DataFrame()
        )
        if len(rows) and not (name == "tannin_only" and tannin == "none"):
            found[name] = rows.assign(group=words.say(f"metals.{name}"), path=name)
    return found


def _nearest(part: pd.DataFrame, mordant: str) -> pd.DataFrame:
    """Controls with the same mordant where there are any, else with none, else as they are."""
    for wanted in (mordant, "none"):
        alike = variants.only(part, mordant=wanted)
        if len(alike):
            return alike
    return part


def _pairs(
    before: pd.Series, after: pd.Series, way: pd.DataFrame, controls: dict[str, pd.DataFrame]
) -> list[tuple[str, str]]:
    if before["variant"] == after["variant"]:
        return []
    ends = [(before["variant"], after["variant"])]
    return ends + [
        (rows["variant"].iloc[0], rows["variant"].iloc[-1])
        for rows in controls.values()
        if len(rows) == 2
    ]


def _reach(made: pd.DataFrame, picked: dict[str, str]) -> pd.DataFrame:
    """Every colour this figure can come to show, so that its axes stand still."""
    same = variants.only(made, fibre=picked["fibre"])
    return same[same["dye"].isin([picked["dye"], "none"])]


def _sentence(
    picked: dict[str, str],
    iron: float,
    copper: float,
    compared: pd.DataFrame | None,
    controls: dict[str, pd.DataFrame],
) -> str:
    if compared is None:
        return words.say("metals.start", dye=picked["dye"], fibre=picked["fibre"])
    first = compared.iloc[0]
    said = words.say(
        "metals.answer",
        metals=_metals(iron, copper),
        dye=picked["dye"],
        fibre=picked["fibre"],
        moved=first["moved"],
        distance=_span(first),
        verdict=first["verdict"],
    )
    told = [name for name, rows in controls.items() if len(rows) == 2]
    for name, (_, row) in zip(told, compared.iloc[1:].iterrows(), strict=True):
        said += " " + words.say(f"metals.{name}_moved", distance=_span(row), moved=row["moved"])
    return said


def _metals(iron: float, copper: float) -> str:
    doses = {"iron": iron, "copper": copper}
    parts = [words.say(f"variants.{m}", dose=variants.dose(d)) for m, d in doses.items() if d > 0]
    return words.say("metals.and").join(parts)


def _span(row: pd.Series) -> str:
    if pd.isna(row["dE00_low"]) or pd.isna(row["dE00_high"]):
        return words.say("metals.distance", value=f"{row['dE00']:.1f}")
    values = {k: f"{row[k]:.1f}" for k in ("dE00", "dE00_low", "dE00_high")}
    return words.say("metals.span", **values)


def _table(
    compared: pd.DataFrame | None, way: pd.DataFrame, controls: dict[str, pd.DataFrame]
) -> pd.DataFrame:
    if compared is None:
        return way[["recipe", "L", "a", "b", "u_L", "u_a", "u_b", "pieces"]]
    names = [way["group"].iloc[0]]
    names += [rows["group"].iloc[0] for rows in controls.values() if len(rows) == 2]
    columns = ["dE00", "dE00_low", "dE00_high", "dL", "da", "db", "dC", "dH", "verdict"]
    shown = compared[columns].copy()
    shown.insert(0, "cloth", names)
    return shown


def _chips(before: pd.Series, after: pd.Series, controls: dict[str, pd.DataFrame]) -> list[Any]:
    groups = [[_chip(before, words.say("metals.before"))]]
    if before["variant"] != after["variant"]:
        groups[0].append(_chip(after, words.say("metals.after")))
    for rows in controls.values():
        labels = [rows["group"].iloc[0], words.say("metals.with_metal")]
        groups.append(
            [_chip(row, label) for label, (_, row) in zip(labels, rows.iterrows(), strict=False)]
        )
    return groups


def _chip(row: pd.Series, label: str) -> frame.Chip:
    lab = (float(row["L"]), float(row["a"]), float(row["b"]))
    metals = variants.recipe(row.to_dict(), bare=True)
    return frame.Chip(label, lab, metals, str(row["illuminant"]), int(row["observer"]))


def _notes(controls: dict[str, pd.DataFrame], iron: float, copper: float) -> list[str]:
    notes = []
    if iron > 0 or copper > 0:
        for name in ("tannin_only", "undyed"):
            rows = controls.get(name)
            if rows is not None and len(rows) < 2:
                metals = _metals(iron, copper)
                notes.append(words.say(f"metals.no_{name}", metals=metals))
    return [*notes, words.say("metals.outlines")]


def _named(family: pd.DataFrame) -> str:
    first: dict[Any, Any] = dict(family.iloc[0])
    return variants.recipe({**first, "iron_wof": 0.0, "copper_wof": 0.0})


def _not_dyed(family: pd.DataFrame, iron: float, copper: float) -> str:
    there = sorted(
        {
            (float(i or 0), float(c or 0))
            for i, c in zip(
                family["iron_wof"].fillna(0), family["copper_wof"].fillna(0), strict=True
            )
        }
        - {(0.0, 0.0)}
    )
    listing = "; ".join(_metals(*one) for one in there)
    return words.say(
        "metals.not_dyed", metals=_metals(iron, copper), recipe=_named(family), there=listing
    )
