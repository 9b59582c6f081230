"""Everything a page or a panel says about some swatches' fastness, worked out in one go."""

from collections.abc import Callable, Hashable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

import numpy as np
import pandas as pd

from dyelab import recipe, table, words
from dyelab.compare import CHANCE
from dyelab.errors import InputError, choose
from dyelab.grade import blue_wool
from dyelab.grade.curves import VISIBLE, Drift, amount_text, drifts, fails, moment_text, shows
from dyelab.grade.grades import MET, NOT_MET, NOT_SETTLED, grades, judge
from dyelab.grade.pairing import keep_one_way, pair
from dyelab.grade.tone import PLAIN, TONE, UNSEEN, tone

CHANGE, STAINING = "4", "3-4"
_VERDICTS = (MET, NOT_MET, NOT_SETTLED)
_NAMED = 4  # swatches that a sentence names one by one


@dataclass(frozen=True)
class Study:
    """Fastness of some swatches.

    Attributes
    ----------
    grades : DataFrame
        As `required` gives it, blue wool references left out, with `tone_kind, tone_left,
        tone_off, tone_turned` for every change. Each area of a printed cloth is a piece of its
        own, its `swatch` written as `table.pieces` does: ``P-01 leaf``.
    fitted : callable
        Gives the curves of the swatches, and those of the blue wool references, when first asked.
    beside : DataFrame
        As `blue_wool.nearest_reference` gives it; empty without references.
    missing : tuple of str
        What could not be graded, and what to do.
    gaps : tuple of str
        Those of `missing` that lack a reading; the others only wait for their test.
    change, staining : str
        The grades required.
    shared : DataFrame, optional
        Errors that readings of one photo share.
    """

    grades: pd.DataFrame
    fitted: Callable[[], tuple[list[Drift], list[Drift]]]
    beside: pd.DataFrame
    missing: tuple[str, ...]
    change: str
    staining: str
    gaps: tuple[str, ...] = ()
    shared: pd.DataFrame | None = None

    @cached_property
    def drifts(self) -> tuple[Drift, ...]:
        """Curves of every swatch and test with at least two amounts."""
        own = set(self.grades["swatch"])
        return tuple(one for one in self.fitted()[0] if one.swatch in own)

    @property
    def references(self) -> list[Drift]:
        """Curves of the blue wool references beside them."""
        return self.fitted()[1]

    def of(self, exposure: str, kind: str = "change") -> pd.DataFrame:
        """Grades of one kind of exposure."""
        return self.grades[self.grades["exposure"].eq(exposure) & self.grades["kind"].eq(kind)]

    def hardest(self, exposure: str, kind: str = "change") -> pd.DataFrame:
        """Grades of each piece after the most it had of this exposure."""
        rows = self.of(exposure, kind)
        most = rows.groupby(["swatch", "part", "test", "unit"])["amount"].transform("max")
        return rows[rows["amount"].eq(most) | most.isna()]

    @property
    def exposures(self) -> list[str]:
        """Kinds of exposure, in the house order."""
        return [name for name in table.EXPOSURES if name in set(self.grades["exposure"])]

    def drift(self, swatch: str, exposure: str) -> Drift | None:
        """Return the curves of a swatch under this exposure, if it was read often enough."""
        named = [d for d in self.drifts if (d.swatch, d.exposure) == (swatch, exposure)]
        return named[0] if named else None


def study(
    wide: pd.DataFrame,
    *,
    swatches: Iterable[str] | None = None,
    shared: pd.DataFrame | None = None,
    spectra: pd.DataFrame | None = None,
    change: str = CHANGE,
    staining: str = STAINING,
    progress: Callable[[float], None] | None = None,
) -> Study:
    """Grade, fit and judge some swatches.

    Parameters
    ----------
    wide : DataFrame
        As ``book.wide`` gives it.
    swatches : iterable of str, optional
        All without it; ``P-01`` with all its areas, or ``P-01 leaf``. Blue wool references and
        clean adjacent cloths are always taken along.
    shared, spectra : DataFrame, optional
        Of the same book.
    change, staining : str
        The lowest grades allowed.
    progress : callable, optional
        Told the share done, 0 to 1.

    Raises
    ------
    InputError
        As `matched`; or if a swatch isn't there.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.study(wide, swatches=["W01", "W09"])
    >>> len(found.grades)
    16
    """
    found = keep_one_way(pair(_take(wide, swatches)))
    judged = judge(grades(found, shared=shared), change=change, staining=staining)
    own = judged[~blue_wool.is_reference(judged)]
    if own.empty:
        raise InputError(words.say("grade.no_after"))
    wools = set(judged.loc[blue_wool.is_reference(judged), "swatch"])

    @cache
    def fitted() -> tuple[list[Drift], list[Drift]]:
        every = drifts(found, shared=shared, progress=progress)
        return [d for d in every if d.swatch not in wools], [d for d in every if d.swatch in wools]

    missing = found.missing
    gaps = tuple(missing.loc[missing["swatch"].ne(""), "text"])
    toned, beside = _with_tone(own, wide, spectra).reset_index(drop=True), pd.DataFrame()
    with suppress(InputError):  # most books have no references
        beside = blue_wool.nearest_reference(judged)
    told = toned, fitted, beside, tuple(missing["text"]), change, staining, gaps
    return Study(*told, shared=shared)


def _take(wide: pd.DataFrame, swatches: Iterable[str] | None) -> pd.DataFrame:
    """The readings asked for, each area of a cloth as a piece of its own."""
    table.need(wide, ["swatch"], "fastness")
    named = wide.assign(swatch=table.pieces(wide))
    if swatches is None:
        return named
    wanted = [str(name) for name in swatches]
    for name in wanted:
        choose(name, dict.fromkeys([*wide["swatch"], *named["swatch"]]), "swatch")
    here = wide["swatch"].isin(wanted) | named["swatch"].isin(wanted)
    parts = wide["part"] if "part" in wide else pd.Series("swatch", wide.index)
    clean = wide["exposure"].eq("none") & ~parts.isin(["swatch", ""])
    return named[here | blue_wool.is_reference(wide) | clean]


def _with_tone(
    grades: pd.DataFrame, wide: pd.DataFrame, spectra: pd.DataFrame | None
) -> pd.DataFrame:
    """Add what kind of change each one was."""
    names = ["tone_kind", "tone_left", "tone_off", "tone_turned"]
    result = grades.assign(**dict.fromkeys(names, ""))
    rows = grades[grades["kind"].eq("change")]
    for fibre, part in rows.groupby(rows.get("fibre", pd.Series("", rows.index)), sort=False):
        white = part[table.WHITE]
        before = part[["before", *[f"{name}_before" for name in table.LAB]]]
        before = before.set_axis(["reading", *table.LAB], axis=1).join(white)
        doubt = (part["dE00_high"] - part["dE00_low"]).fillna(0.0).to_numpy() / 2
        told = tone(before, part, bare=_bare(wide, str(fibre)), spectra=spectra, doubt=doubt)
        told = told[["kind", "colour_left", "off", "turned"]].set_axis(names, axis=1)
        result[names] = result[names].astype(object)
        result.loc[part.index, names] = told.to_numpy()
    return result


def _bare(wide: pd.DataFrame, fibre: str) -> np.ndarray | None:
    """Mean colour of the untreated cloth of this fibre, where the book has it."""
    metals = list(recipe.metals.columns().values())
    needed = ["fibre", "dye", "tannin", "mordant", *metals]
    if not set(needed) <= set(wide.columns):
        return None
    plain = wide["exposure"].eq("none") & wide["fibre"].eq(fibre) & wide["part"].eq("swatch")
    for name in ("dye", "tannin", "mordant"):
        plain &= wide[name].eq("none")
    plain &= (wide[metals] == 0).all(axis=1)
    return wide.loc[plain, table.LAB].mean().to_numpy(float) if plain.any() else None


def by_cloth(
    found: Study, exposure: str, named: Callable[[dict[Hashable, Any]], str]
) -> pd.DataFrame:
    """Count the verdicts of each cloth after the most it had, undyed cloth left out.

    Parameters
    ----------
    found : Study
    exposure : str
        Of `found.exposures`.
    named : function
        The cloth that a row of `found.hardest` (as a dict: swatch, dye, fibre) is of.

    Returns
    -------
    DataFrame
        One row a cloth: `cloth`, `at` (place of its first row in ``found.hardest``), `swatches`,
        the count of each verdict (``met, not_met, not_settled``), `lowest`, `highest` (grades),
        and `least`: whether no cloth's middle piece changed less. That is an order of what was
        read, not a finding that one cloth holds better than another: `compare_fastness` tests that.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> found = grade.study(book.wide(bk), swatches=["W01", "W09"])
    >>> grade.by_cloth(found, "wash", lambda row: row["dye"])[["cloth", "lowest", "highest"]]
        cloth lowest highest
    0  madder    2-3     3-4
    """
    last = found.hardest(exposure)
    last = _worst_of_each(last[_is_dyed(last)])
    told = last[[name for name in ("swatch", "dye", "fibre") if name in last]]
    names = [named(row) for row in told.to_dict("records")]
    rows = []
    for cloth, part in last.groupby(names, sort=False):
        counts = part["verdict"].value_counts()
        ends = [part.at[part["value"].idxmin(), "grade"], part.at[part["value"].idxmax(), "grade"]]
        rows.append([cloth, part.index[0], len(part), *(int(counts.get(c, 0)) for c in _VERDICTS)])
        rows[-1] += [*ends, part["value"].median()]
    columns = ["cloth", "at", "swatches", *_VERDICTS, "lowest", "highest", "middle"]
    made = pd.DataFrame(rows, columns=columns)
    return made.assign(least=made["middle"].eq(made["middle"].max())).drop(columns="middle")


def verdict_sentence(found: Study, exposure: str, *, bare: bool = True) -> str:
    """How many of the dyed swatches keep the required grade after the most they had.

    With `bare` it says at the end how many undyed ones were left out.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.study(wide, swatches=["W01", "W09"])
    >>> grade.verdict_sentence(found, "wash")
    'After 10 washes: W01 is at grade 2-3, could be 3: did not hold; W0...
    """
    rows = found.hardest(exposure)
    dyed = rows[_is_dyed(rows)]
    rows, out = (dyed, len(rows) - len(dyed)) if len(dyed) else (rows, 0)
    each = _worst_of_each(rows)
    counts = each["verdict"].value_counts()
    met, unmet, unsettled = (int(counts.get(name, 0)) for name in (MET, NOT_MET, NOT_SETTLED))
    after = exposure_text(rows.iloc[0]) if rows["amount"].nunique() == 1 else exposure
    if len(rows) == 1:
        return piece_sentence(rows.iloc[0], after)
    left_out = words.say("grade.undyed", number=out) if bare and out else ""
    if len(rows) <= _NAMED:
        return pieces_sentence(rows, after) + left_out
    told = {"number": len(each), "met": met, "unmet": unmet, "open": unsettled}
    key = "grade.many_areas" if rows["area"].ne("whole").any() else "grade.many"
    return words.say(key, after=after, required=found.change, **told) + left_out


def pieces_sentence(rows: pd.DataFrame, after: str) -> str:
    """What a few swatches' grades are and whether the requirement is met, the worst first.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.study(wide, swatches=["W01", "W09"])
    >>> grade.pieces_sentence(found.grades.tail(2), "ten washes")
    'After ten washes: W01 is at grade 4-5, could be 4: held; W01 is at gr...
    """
    ordered = rows.sort_values("value", kind="stable").to_dict("records")
    pieces = [words.say("grade.piece", **_piece(row)) for row in ordered]
    required = ordered[0]["required"]
    return words.say("grade.few", after=after, pieces="; ".join(pieces), required=required)


def _worst_of_each(rows: pd.DataFrame) -> pd.DataFrame:
    """One row a piece, the worst where it went through several tests, in the order given."""
    worst = rows.sort_values("value", kind="stable").drop_duplicates(["swatch", "part"])
    return rows[rows.index.isin(worst.index)]


def _is_dyed(rows: pd.DataFrame) -> pd.Series:
    """Which pieces were dyed; all, where the table doesn't say."""
    return rows["dye"].ne("none") if "dye" in rows else pd.Series(True, rows.index)


def piece_sentence(row: pd.Series, after: str) -> str:
    """What one swatch's grade is and whether the requirement is met.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.study(wide, swatches=["W01", "W09"])
    >>> grade.piece_sentence(found.grades.iloc[-1], "ten washes")
    'After ten washes, W01 is at grade 4-5, could be 5 of colour change; g...
    """
    return words.say("grade.one", after=after, required=row["required"], **_piece(row))


def _piece(row: Any) -> dict[str, str]:
    held = words.say(f"grade.{row['verdict']}")
    return {"swatch": row["swatch"], "said": row["said"], "verdict": held}


def exposure_text(row: Mapping[Any, Any] | pd.Series) -> str:
    """An exposure in words: ``10 washes``, ``10 million lx h of light``, ``dry rubbing``.

    Examples
    --------
    >>> from dyelab import grade
    >>> grade.exposure_text({"exposure": "wash", "amount": 5.0, "unit": "cycle"})
    '5 washes'
    """
    amount = float(row["amount"])
    exposure = words.wording("grade.exposure_", row["exposure"])
    if not np.isfinite(amount):
        return exposure
    said = amount_text(amount, str(row["unit"]))
    if row["unit"] == "cycle":
        times = words.say("grade.times", exposure=exposure, count=f"{amount:g}")
        return said if row["exposure"] == "wash" else times
    return words.say("grade.of", amount=said, exposure=exposure)


def forecast_sentence(found: Study, swatch: str, exposure: str) -> str:
    """When visible change, and when the required grade is lost; blank without a curve.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.study(wide, swatches=["W01", "W09"])
    >>> grade.forecast_sentence(found, "W01", "wash")
    'W01: visible change after about 0.64 washes (0.39 to 0.8 washes); b...
    """
    one = found.drift(swatch, exposure)
    if one is None:
        return ""
    times = one.unit == "cycle" and exposure != "wash"
    unit = words.say("occasion.unit_cycle") if times else one.unit
    seen, failed = (moment_text(at, unit) for at in (shows(one), fails(one, found.change)))
    told = {"shows": seen, "fails": failed, "required": found.change}
    return words.say("grade.outlook", swatch=swatch, **told)


def tone_sentence(row: pd.Series) -> str:
    """Whether a swatch faded plainly or turned, and which way.

    Examples
    --------
    >>> from dyelab import book, grade, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> found = grade.study(wide, swatches=["W01", "W09"])
    >>> grade.tone_sentence(found.grades.iloc[0])
    'W01: faded, and no change of tone can be told; about 86 % of its col...
    """
    kind, told = row["tone_kind"], {"swatch": row["swatch"]}
    if kind in ("", UNSEEN):
        unsure = row["dE00_high"] > VISIBLE  # NaN: not known
        key = "grade.tone_unseen_unsure" if unsure else "grade.tone_unseen"
        return words.say(key, high=f"{row['dE00_high']:.1f}", **told)
    if row["changed"] == CHANCE:
        return words.say("grade.tone_chance", **told)
    told["left"] = f"{100 * float(row['tone_left']):.0f}"
    if kind == TONE:
        return words.say("grade.tone_turned", turned=row["tone_turned"], **told)
    return words.say(f"grade.tone_{'plain' if kind == PLAIN else 'deeper'}", **told)
