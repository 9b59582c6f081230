"""Which recipe to dye: what gives a wanted colour and how likely it lands, what a book's materials
reach, and the next swatches, those that teach most about where the user is looking.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.spatial import ConvexHull, QhullError

from dyelab import convert, recipe, table, words
from dyelab.compare.formulas import metric
from dyelab.errors import InputError
from dyelab.predict import calibration, gp
from dyelab.predict.candidates import (
    NO_LIMITS,
    SIZE,
    CandidateGrid,
    Limits,
    keep_within,
    of_book,
    untried_recipes,
    which_allowed,
)
from dyelab.predict.model import Model, complete, outside, predict_swatches, recipe_names, support
from dyelab.predict.recipes import COLUMNS, NONE, STEPS, code_step, dyes_of, layers

TOLERANCE = 3.0  # ΔE00: near enough for most cloth seen a moment apart
# Untried and tried recipes looked at, and swatches drawn of each: what half and double of them
# change, tests/benchmarks/search_sizes.py shows.
SHORT, AGAIN, DRAWS = 250, 50, 300
# ΔE00 within which two cloths by different dyes would be taken for one another across a room
# (common practice, no source); further apart, how other lights part them is no question.
SIDE_BY_SIDE = 5.0
_WAYS = ["fibre", "tannin", "mordant", "dye", "modifier"]
_CHUNK = 2_000  # what a processor's cache holds
_CELL = 5.0  # CIELAB units: colours nearer than this count as one
_GAMUT_SIZE = 50_000
_HEX = re.compile(r"#?[0-9a-fA-F]{6}")
_NUMBERS = re.compile(r"[-−+]?\d+(?:[.,]\d+)?")
_MUNSELL = re.compile(r"\s*(\d+(\.\d+)?\s*[A-Za-z]{1,2}\s+\d|N\s*\d)")


def wanted_colour(model: Model, wanted: Any) -> np.ndarray:
    """CIELAB (3,) of a wanted colour, under the model's white.

    Parameters
    ----------
    model : Model
    wanted : array_like (3,), text, Series or one-row DataFrame
        L*, a*, b* under the model's white, as numbers or as text such as ``"52, 18.5, 30"``;
        ``"#a1b2c3"``; a Munsell notation such as ``"5YR 5/6"``; the code of a swatch in the
        book; or a reading (`L, a, b, illuminant, observer`), such as a photo's.

    Raises
    ------
    InputError
        If it is none of these.
    """
    if isinstance(wanted, pd.DataFrame | pd.Series):
        return _here(model, wanted)[table.LAB].to_numpy(float)[0]
    if isinstance(wanted, str):
        return _text(model, wanted)
    values = np.asarray(wanted, float)
    if values.shape != (3,) or not np.isfinite(values).all() or not 0 <= values[0] <= 100:
        raise InputError(
            words.say("predict.not_a_colour", found=", ".join(map(words.number, values.ravel())))
        )
    return values


def _text(model: Model, text: str) -> np.ndarray:
    codes = model.made["swatch"].str.split(", ")
    named = [i for i, own in enumerate(codes) if text.strip() in own]
    if named:
        return model.made.iloc[named[0]][table.LAB].to_numpy(float)
    if _HEX.fullmatch(text.strip()):
        return convert.screen_to_lab(text.strip(), *model.white)
    if _MUNSELL.match(text):
        return convert.munsell_to_lab(text.strip(), *model.white)
    parted = re.split(r"[;\s]+|,\s+|,(?=[-−\d]*\.)", text.strip())
    parts = parted if len(parted) == 3 else text.split(",")
    numbers = [part.strip() for part in parts if _NUMBERS.fullmatch(part.strip())]
    if len(numbers) != 3:
        raise InputError(words.say("predict.not_a_colour", found=text))
    return wanted_colour(model, [table.number(n, most=160) for n in numbers])


def wanted_spread(model: Model, wanted: Any) -> np.ndarray:
    """Covariance (3, 3) of a wanted colour: of a reading that has one, else nothing."""
    if not isinstance(wanted, pd.DataFrame | pd.Series):
        return np.zeros((3, 3))
    return np.nan_to_num(table.covariances(_here(model, wanted))[0])


def _here(model: Model, reading: pd.DataFrame | pd.Series) -> pd.DataFrame:
    """A reading under the model's white."""
    frame = pd.DataFrame([dict(reading)]) if isinstance(reading, pd.Series) else reading
    table.need(frame, [*table.LAB, *table.WHITE], "wanted colour")
    if len(frame) != 1:
        raise InputError(words.say("predict.not_one", found=len(frame)))
    return convert.adapt(frame, *model.white)


@dataclass(frozen=True)
class Reach:
    """Candidates and their predicted colours.

    Attributes
    ----------
    candidates : CandidateGrid
    places : ndarray (n,)
        Places of the candidates in the grid.
    lab : ndarray (n, 3)
        Under the book's white.
    """

    candidates: CandidateGrid
    places: np.ndarray
    lab: np.ndarray

    def recipes(self, rows: np.ndarray) -> pd.DataFrame:
        """Recipes of some candidates."""
        return self.candidates.recipes(self.places[rows])

    def column(self, name: str) -> np.ndarray:
        """One column of all candidates."""
        i, j = np.divmod(self.places, len(self.candidates.right))
        left, right = self.candidates.left, self.candidates.right
        return left[name].to_numpy()[i] if name in left else right[name].to_numpy()[j]


@dataclass(frozen=True)
class Gamut:
    """What a book reaches.

    Attributes
    ----------
    outlines : DataFrame
        `group, metals (without, a metal, or all), plane (ab or CL), x, y`: corners of the
        outline of the region, in order.
        A region bent like a bow has unreached colours inside its outline.
    counts : DataFrame
        One row a group: how many different colours (cells of 5 CIELAB units) are reached
        `without` a metal, and how many more with each that the book holds (`iron_adds` …).
    """

    outlines: pd.DataFrame
    counts: pd.DataFrame


def reach(model: Model, limits: Limits = NO_LIMITS, *, size: int = SIZE) -> Reach:
    """Predict every candidate recipe within limits.

    Parameters
    ----------
    model : Model
    limits : Limits
    size : int
        Most candidates.

    Raises
    ------
    InputError
        For limits that leave nothing, or name what the book doesn't hold.

    Examples
    --------
    >>> from dyelab import book, predict, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> model = predict.fit(wide, spectra=bk.spectra)
    >>> predict.reach(model, size=2_000).lab.shape[1]
    3
    """
    made = of_book(model.made, model.steps, limits, size)
    places = np.flatnonzero(made.fits)
    scores = _scores(model, made)[places]
    several = model.over.dyes.joins(made.right)[places % len(made.right)]
    for rows in _chunks(np.flatnonzero(several)):
        scores[rows] = model.posterior(made.recipes(places[rows])).mean
    lab = [model.basis.lab(scores[rows]) for rows in _chunks(np.arange(len(scores)))]
    return Reach(made, places, np.concatenate(lab))


def _chunks(rows: np.ndarray) -> list[np.ndarray]:
    return np.array_split(rows, len(rows) // _CHUNK + 1)


def _scores(model: Model, grid: CandidateGrid) -> np.ndarray:
    """Mean scores of the whole grid: the kernel's factors of each side, then one product."""
    kernels, process = model.process.kernels, model.process
    on_left = [i for i, s in enumerate(model.steps) if set(STEPS[s.name]) & set(grid.left)]
    on_right = [i for i in range(len(model.steps)) if i not in on_left]
    sides = [
        ([code_step(step, side) for step in model.steps], chosen)
        for side, chosen in ((grid.left, on_left), (grid.right, on_right))
    ]
    scores = []
    for p, alpha in zip(process.p, process.alphas.T, strict=True):
        left, right = (
            gp.likeness(p, kernels, codes, process.codes, chosen) for codes, chosen in sides
        )
        scores.append(((left * (np.exp(p[0]) * alpha)) @ right.T).ravel())
    return np.stack(scores, axis=1)


def gamut(
    model: Model, *, by: Sequence[str] = ("fibre", "mordant"), limits: Limits = NO_LIMITS
) -> Gamut:
    """Outline the colours that a book's materials reach, and what each metal adds.

    Parameters
    ----------
    model : Model
    by : sequence of str
        Columns of a recipe; each combination is a region of its own.
    limits : Limits

    Returns
    -------
    Gamut

    Examples
    --------
    >>> from dyelab import book, predict, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> model = predict.fit(wide, spectra=bk.spectra)
    >>> list(predict.gamut(model, by=["fibre"]).counts["group"])
    ['cotton', 'wool']
    """
    reached = reach(model, limits, size=_GAMUT_SIZE)
    names = pd.DataFrame({column: reached.column(column) for column in by})
    columns = {m: reached.column(c) > 0 for m, c in recipe.metals.columns().items()}
    there = {metal: has for metal, has in columns.items() if has.any()}
    outlines, counts = [], []
    for key, rows in names.groupby(list(by)).indices.items():
        parts = key if isinstance(key, tuple) else (key,)
        lab, group = reached.lab[rows], " · ".join(str(part) for part in parts)
        with_ = _with_metals({metal: has[rows] for metal, has in there.items()}, len(rows))
        counts.append({"group": group, **_counts(lab, with_)})
        for metals, keep in with_.items():
            outlines += _outline(group, metals, lab[keep])
    return Gamut(pd.concat(outlines, ignore_index=True), pd.DataFrame(counts))


def _with_metals(there: Mapping[str, np.ndarray], n: int) -> dict[str, np.ndarray]:
    """Which of n recipes are left without any metal, with one alone to choose, and with all."""
    many = np.sum([np.zeros(n, int), *there.values()], axis=0)
    with_ = {"without": many == 0, **{metal: many == has for metal, has in there.items()}}
    return {**with_, "all": many >= 0} if len(there) > 1 else with_


def _counts(lab: np.ndarray, with_: dict[str, np.ndarray]) -> dict[str, int]:
    cells = np.floor(lab / _CELL).astype(int)
    many = {name: len(np.unique(cells[keep], axis=0)) for name, keep in with_.items()}
    base = many.pop("without")
    many.pop("all", None)
    return {"without": base, **{f"{metal}_adds": more - base for metal, more in many.items()}}


def _outline(group: str, metals: str, lab: np.ndarray) -> list[pd.DataFrame]:
    """Corners of the convex outline on a*b* and on C*L*; a line or a point is kept as it is."""
    planes = {"ab": lab[:, 1:], "CL": np.column_stack([np.hypot(lab[:, 1], lab[:, 2]), lab[:, 0]])}
    found = []
    for plane, points in planes.items():
        if not len(points):
            continue
        try:
            corners = points[ConvexHull(points).vertices]
        except (QhullError, ValueError):
            corners = np.unique(points, axis=0)
        frame = pd.DataFrame(np.vstack([corners, corners[:1]]), columns=["x", "y"])
        found.append(frame.assign(group=group, metals=metals, plane=plane))
    return found


@dataclass(frozen=True)
class Matches:
    """Recipes for a wanted colour.

    Attributes
    ----------
    wanted : ndarray (3,)
        CIELAB under `white`.
    white : (illuminant, observer)
    tolerance : float
        ΔE00.
    ranked : DataFrame
        Tried recipes that should land first, then untried ones, nearest first, the best doses
        of each way of dyeing: `tried` (codes of its swatches, blank if untried), `recipe`, the
        recipe's columns, `L, a, b`, covariances, `dE00` (expected distance of one swatch),
        `chance` (of one swatch landing within the tolerance, 0 to 1; both suppose that some
        recipe of the book's materials gives the colour, unless it is out of reach),
        `extrapolates`, `leans_on`.
    reachable : bool
        Whether the middle of some prediction lies within the tolerance.
    sentence : str
        The answer in words.
    """

    wanted: np.ndarray
    white: tuple[str, int]
    tolerance: float
    ranked: pd.DataFrame
    reachable: bool
    sentence: str


def find(
    model: Model,
    target: Any,
    *,
    tolerance: float = TOLERANCE,
    hold: Mapping[str, Any] | None = None,
    most: Mapping[str, float] | None = None,
    without: Sequence[str] = (),
    n: int = 8,
    within: Reach | None = None,
) -> Matches:
    """Rank recipes by how near they come to a colour.

    Parameters
    ----------
    model : Model
    target : array_like (3,), text, Series or one-row DataFrame
        CIELAB, a screen colour, a Munsell notation, a swatch's code, or a reading, whose
        covariance, if it has one, widens the distances.
    tolerance : float
        ΔE00 that still counts as landing.
    hold : mapping, optional
        Column to value or values, such as ``{"fibre": "wool"}``.
    most : mapping, optional
        Dose column to the most allowed, such as ``{"iron_wof": 2}``.
    without : sequence of str
        Materials not to use, such as ``["copper"]``.
    n : int
        Recipes to return.
    within : Reach, optional
        What `reach` gave for the same limits, so as not to predict all candidates again.

    Returns
    -------
    Matches

    Raises
    ------
    InputError
        For a colour that can't be read, limits that leave nothing, a tolerance not above 0.

    Examples
    --------
    >>> from dyelab import book, predict, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> model = predict.fit(wide, spectra=bk.spectra)
    >>> len(predict.find(model, "#8a5a3a", hold={"fibre": "wool"}, n=2).ranked)
    2
    """
    if not np.isfinite(tolerance) or tolerance <= 0:
        raise InputError(words.say("predict.tolerance", found=tolerance))
    lab, spread = wanted_colour(model, target), wanted_spread(model, target)
    limits = Limits(hold or {}, most or {}, tuple(without))
    candidates = within or reach(model, limits)
    untried = candidates.recipes(_nearest(candidates.lab, lab))
    both = (_try(model, limits, lab), untried)
    judged = pd.concat([_judge(model, rows, (lab, spread), tolerance) for rows in both])
    ranked = _rank(judged, tolerance).head(n).reset_index(drop=True)
    reachable = bool((judged["middle"] <= tolerance).any())
    ranked = _with_marks(model, ranked)
    sentence = _sentence(judged, ranked, reachable, tolerance)
    return Matches(lab, model.white, tolerance, ranked, reachable, sentence)


def _nearest(lab: np.ndarray, target: np.ndarray) -> np.ndarray:
    """Candidates whose middle lies nearest: by ΔE*ab first, which is quick, then by ΔE00."""
    rough = np.linalg.norm((lab - target) * [1.0, 0.7, 0.7], axis=1)
    many = min(10 * SHORT, len(lab))
    some = np.argpartition(rough, many - 1)[:many]
    exact = convert.dE00(np.broadcast_to(target, (many, 3)), lab[some])
    return some[np.argsort(exact, kind="stable")[:SHORT]]


def _try(model: Model, limits: Limits, target: np.ndarray) -> pd.DataFrame:
    """Recipes of the book that keep to the limits, those measured nearest."""
    columns = [c for c in COLUMNS if c in model.made]
    made = model.made[which_allowed(model.made[columns], limits)]
    nearest = closest(made, target, count=AGAIN).reset_index(drop=True)
    return nearest[columns].assign(tried=nearest["swatch"])


def closest(
    rows: pd.DataFrame, target: np.ndarray, *, count: int = 1, within: float = np.inf
) -> pd.DataFrame:
    """Return those of some rows whose colours are nearest to another's, the nearest first.

    Parameters
    ----------
    rows : DataFrame
        With `L, a, b`.
    target : ndarray of shape (3,)
        CIELAB under the same white.
    count : int
        How many at most.
    within : float
        ΔE00; what is further away is left out.

    Examples
    --------
    >>> import numpy as np
    >>> import pandas as pd
    >>> from dyelab import predict
    >>> rows = pd.DataFrame({"L": [50.0, 40.0], "a": [20.0, 18.0], "b": [10.0, 9.0]})
    >>> predict.closest(rows, np.array([42.0, 18.0, 9.0]))["L"].tolist()
    [40.0]
    """
    lab = rows[table.LAB].to_numpy(float)
    away = convert.dE00(np.broadcast_to(target, lab.shape), lab)
    nearest = np.argsort(away, kind="stable")[:count]
    return rows.iloc[nearest[away[nearest] <= within]]


def _judge(
    model: Model, recipes: pd.DataFrame, aim: tuple[np.ndarray, np.ndarray], tolerance: float
) -> pd.DataFrame:
    """Add the colour of a swatch of each recipe, its distance, and its chance of landing."""
    target, unsure = aim
    if recipes.empty:
        return recipes.assign(middle=[], dE00=[], chance=[])
    full = complete(model, recipes)
    lab, C = predict_swatches(model, full)
    drawn = simulate(model, lab, C + unsure, DRAWS)
    away = convert.dE00(np.broadcast_to(target, drawn.shape), drawn)
    middle = convert.dE00(np.broadcast_to(target, lab.shape), lab)
    white = dict(zip(table.WHITE, model.white, strict=True))
    answered = full.assign(**dict(zip(table.LAB, lab.T, strict=True)), **white)
    chance = calibration.chances(away, tolerance, model.odds)
    answered = answered.assign(middle=middle, dE00=away.mean(axis=1), chance=chance)
    answered["tried"] = answered.get("tried", "")
    return table.with_covariances(answered, C)


def simulate(model: Model, lab: np.ndarray, C: np.ndarray, n: int = DRAWS) -> np.ndarray:
    """Colours (m, n, 3) that single swatches may have, by the model's own tail; seeded.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import book, predict, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> model = predict.fit(wide, spectra=bk.spectra)
    >>> predict.simulate(model, np.array([[50.0, 20, 10]]), np.eye(3)[None], 5).shape
    (1, 5, 3)
    """
    return calibration.simulate(lab, C, model.tail, n)


def nine_in_ten(lab: np.ndarray, drawn: np.ndarray) -> float:
    """ΔE00 from a colour (3,) that nine in ten of the swatches drawn, (n, 3), keep within.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import predict
    >>> drawn = np.random.default_rng(1).normal([50, 20, 10], 1.0, (200, 3))
    >>> round(predict.nine_in_ten(np.array([50.0, 20, 10]), drawn), 1)
    1.9
    """
    away = convert.dE00(np.broadcast_to(lab, drawn.shape), drawn)
    return float(np.quantile(away, 0.9))


def _rank(judged: pd.DataFrame, tolerance: float) -> pd.DataFrame:
    """Tried ones that should land first; then by expected distance, the best of each way."""
    landing = (judged["tried"] != "") & (judged["dE00"] <= tolerance)
    ordered = judged.assign(_first=~landing).sort_values(["_first", "dE00"], kind="stable")
    there = {f"_{m}": ordered[c] > 0 for m, c in recipe.metals.columns().items() if c in ordered}
    marked = ordered.assign(**there, dye=[" + ".join(dyes) for dyes in dyes_of(ordered)])
    ways = [way for way in [*_WAYS, *there, "_first"] if way in marked]
    return ordered[~marked.duplicated(ways)].drop(columns="_first")


def _with_marks(model: Model, ranked: pd.DataFrame) -> pd.DataFrame:
    front = ranked.assign(recipe=recipe_names(ranked))
    weighed = model.posterior(front)
    front["extrapolates"] = outside(model, front, weighed)
    front["leans_on"] = support(model, weighed)
    return front


def _sentence(judged: pd.DataFrame, ranked: pd.DataFrame, reachable: bool, tolerance: float) -> str:
    best = ranked.iloc[0]
    told = {"recipe": best["recipe"], "dE00": f"{best['dE00']:.1f}", "tolerance": f"{tolerance:g}"}
    told["chance"] = f"{100 * best['chance']:.0f}"
    if not reachable:
        edge = f"{judged['middle'].min():.1f}"
        return words.say("predict.out_of_reach", edge=edge, **told)
    key = "found_tried" if best["tried"] else "found"
    return words.say(f"predict.{key}", swatches=best["tried"], **told)


def weigh_out(recipe_row: Mapping[Any, Any], fibre_g: float) -> pd.DataFrame:
    """What to weigh for a recipe: `step, material, wof, grams`, in the order of the steps.

    Parameters
    ----------
    recipe_row : mapping
        A recipe, such as a row of `Matches.ranked`.
    fibre_g : float
        Dry fibre, g.

    Raises
    ------
    InputError
        If there is no fibre.

    Examples
    --------
    >>> from dyelab import predict
    >>> predict.weigh_out({"dye": "madder", "dye_wof": 50.0, "iron_wof": 2.0}, 100)
       step         material   wof  grams
    0   dye           madder  50.0   50.0
    1  iron  ferrous sulfate   2.0    2.0
    """
    found: list[tuple[str, str, float]] = []
    salts = recipe.metals.salts()
    for name, (material, dose) in STEPS.items():
        wof = float(recipe_row.get(dose, 0.0)) if dose else 0.0
        text = salts.get(name) or str(recipe_row.get(str(material), NONE))
        if name == "dye":
            found += [(name, part.material, part.dose) for part in layers(text, wof)]
        elif name != "over":
            found.append((name, text, wof))
    rows = [(*step, recipe.grams(step[-1], fibre_g)) for step in found if step[-1] > 0]
    return pd.DataFrame(rows, columns=["step", "material", "wof", "grams"])


# Of 1,500 candidates the ten chosen left a mean error 0.27 smaller than of 400, over 8 worlds of
# `predict_truth.py next`; 1,000 and 600 places take about a second.
_POOL, _PLACES = 1000, 600


def next_swatches(
    model: Model,
    n: int = 4,
    *,
    around: Any = None,
    among: pd.DataFrame | None = None,
    radius: float = 15.0,
    hold: Mapping[str, Any] | None = None,
    most: Mapping[str, float] | None = None,
    without: Sequence[str] = (),
    seed: int = 0,
) -> pd.DataFrame:
    """Choose the recipes whose measurement would most reduce the model's uncertainty.

    Parameters
    ----------
    model : Model
    n : int
        Swatches to dye.
    around : optional
        A wanted colour, as for `find`: recipes predicted near it count most. Without it all
        recipes within the limits count alike.
    among : DataFrame, optional
        Recipes that one would dye, as for `Model.colour`: swatches are chosen from them, to teach
        most about them. Without it, recipes of the book's materials, all alike often, in doses
        from the least to the largest that was dyed or is usual.
    radius : float
        ΔE00 at which a recipe counts 0.6 as much as one on the spot.
    hold, most, without
        Limits, as for `find`.
    seed : int
        Of the candidates looked at.

    Returns
    -------
    DataFrame
        The recipe's columns, `recipe` in words, `L, a, b` as predicted and `u_before, u_after`:
        the usual standard uncertainty (in ΔE00) over the region looked at, before this swatch
        is measured and after.

    Raises
    ------
    InputError
        For limits that leave nothing.

    Notes
    -----
    Each is the one that leaves the least mean standard deviation, not variance: a sum of variances
    would spare the largest errors alone. ``tests/benchmarks/predict_truth.py next`` holds them
    against random swatches in two worlds: ten leave smaller errors than ten at random, and larger
    ones in the middle, though not at the far end, than twenty.

    Examples
    --------
    >>> from dyelab import book, predict, synth
    >>> bk = book.open(synth.example())
    >>> wide = book.wide(bk)
    >>> model = predict.fit(wide, spectra=bk.spectra)
    >>> predict.next_swatches(model, 1, hold={"fibre": "wool"})[["fibre"]]
      fibre
    0  wool
    """
    limits = Limits(hold or {}, most or {}, tuple(without))
    asked = (_ask(model, among, limits, *n) for n in ((_POOL, seed), (_PLACES, seed + 1)))
    pool, places = (complete(model, recipes) for recipes in asked)
    chosen, spreads = _greedy(model, pool, places, _looked_at(model, places, around, radius), n)
    lab, _ = predict_swatches(model, pool.iloc[chosen])
    named = pool.iloc[chosen].reset_index(drop=True)
    named["recipe"] = recipe_names(named)
    named[["L", "a", "b"]] = lab
    return named.assign(u_before=spreads[:-1], u_after=spreads[1:])


def _ask(
    model: Model, among: pd.DataFrame | None, limits: Limits, many: int, seed: int
) -> pd.DataFrame:
    """Recipes to look at; sums of dyes, which are learned one by one, are left out."""
    if among is None:
        return untried_recipes(model.made[~model.over.dyes.joins(model.made)], limits, many, seed)
    full = complete(model, among)
    full = keep_within(full[~model.over.dyes.joins(full)], limits)
    return full.sample(min(many, len(full)), random_state=seed)


def _looked_at(
    model: Model, places: pd.DataFrame, around: Any, radius: float
) -> tuple[np.ndarray, np.ndarray]:
    """Squared ΔE00 for one unit of each score at each place, (r, q), and how much it counts, (r,).

    The places count in all as 1.
    """
    weighed = model.posterior(places)
    lab, J = model.basis.lab(weighed.mean), model.basis.slopes(weighed.mean)
    sensitive = np.einsum("niq,nij,njq->nq", J, metric(convert.dE00, lab), J)
    if around is None:
        return sensitive, np.full(len(lab), 1 / len(lab))
    away = convert.dE00(np.broadcast_to(wanted_colour(model, around), lab.shape), lab)
    unsure = (sensitive * (weighed.left + weighed.more)).sum(axis=1) / 3
    room = radius**2 + unsure * model.stretch
    looked = np.exp(-0.5 * away**2 / room) * room**-1.5 + 1e-12
    return sensitive, looked / looked.sum()


def _greedy(
    model: Model, pool: pd.DataFrame, places: pd.DataFrame, looked: Any, n: int
) -> tuple[list[int], np.ndarray]:
    """Rows of the pool, best first, and the usual uncertainty before and after each."""
    process, many, (sensitive, counts) = model.process, len(pool), looked
    both = model.codes(pd.concat([pool, places], ignore_index=True))
    K = process.posterior_covariance(model.codes(pool), both)
    left = (model.posterior(places).left * sensitive).sum(axis=1)
    chosen: list[int] = []
    spreads = [float(np.sqrt(np.maximum(left, 0)) @ counts)]
    for _ in range(min(n, many)):
        own = np.einsum("qmm->qm", K[:, :, :many]) + process.nuggets[:, None]
        gain = np.einsum("qmr,rq->mr", K[:, :, many:] ** 2 / own[:, :, None], sensitive)
        after = np.sqrt(np.maximum(left - gain, 0)) @ counts
        after[chosen] = np.inf
        best = int(np.argmin(after))
        chosen.append(best)
        spreads.append(float(after[best]))
        left = left - gain[best]
        row = K[:, best] / np.sqrt(own[:, best, None])
        K = K - row[:, :many, None] * row[:, None, :]
    return chosen, np.sqrt(model.stretch) * np.array(spreads)
