"""Photos that go together: by one phone, of one card, in one light; what their errors share.

What a calibration gets wrong about a cloth's spectrum it gets wrong alike in the next photo of the
same phone, card and light. So a difference between two such photos is far surer than either colour.
What differs between them (where card and light lay, a program that answers to what lies on the
card) is estimated from the card, which both show, and from swatches that were never treated.
"""

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from dyelab import convert, numerics, table, words
from dyelab.book import Book, path_inside
from dyelab.calibrate import Reference
from dyelab.calibrate.colour_fit import eye_scale
from dyelab.calibrate.shading import WINDOW_MM
from dyelab.calibrate.tone import Tone
from dyelab.errors import InputError
from dyelab.measure import single_photo
from dyelab.measure.single_photo import MeasuredPhoto, photo, window_middles
from dyelab.read import file_data
from dyelab.read import photo as read_photo
from dyelab.table import LAB, covariances

TOGETHER, OTHER_CAMERA, OTHER_LOOK, NO_TARGET = "together", "camera", "look", "no_target"
# All by trial on pairs of rendered photos with cloths, lamps and programs of their own: half and
# double of each by tests/benchmarks/pairs.py vary; judged by the same script without it.
MOST_APART = 0.5  # ΔE00, root mean square of the patches, beyond which photos don't go together
LIGHTNESS = 0.1  # how lightness counts among them: a program answers with it to what is shown
CHANGED = 45.0  # CIELAB units over which the error of a changing cloth stays its own
GAIN = 0.022  # of a change: what an undone program leaves wrong of it
SCATTER = 0.67  # more variance than a window's cloth and light show, of theirs: position, blur
LIGHT = 0.8  # share of what isn't known of the light on a window that it has in both photos
REFITTED = 0.75  # share of what two calibrations say apart of a colour that is taken off
NOISE = 0.1  # of its square: variance that remains
_FAR = 16.3  # of chi-square with three degrees of freedom, passed by one in a thousand


@dataclass(frozen=True)
class Kinship:
    """Whether two photos go together, and what is left between them.

    Attributes
    ----------
    verdict : str
        ``together``; ``camera`` (the files name another one); ``look`` (the target's patches,
        exposure apart, are not what they were: another light, phone or program); ``no_target``
        (a photo shows no target to tell by).
    apart : float
        Root mean square ΔE00 of the patches, by the first photo's calibration, without what storing
        them in 8 bits brings; lightness counts little.
    refitted : ndarray (n, 3)
        Of the second photo's windows: CIELAB by its own calibration less that by the first one's.
        Camera and light being the same, most of it is noise of the two fits, and it grows
        towards strong colours, which no patch holds in check.
    first : MeasuredPhoto, optional
        The first photo.
    seen : ndarray (n, 3), optional
        Camera values of the second photo's windows, undone as the first one's are.
    """

    verdict: str
    apart: float = np.nan
    refitted: np.ndarray = field(default_factory=lambda: np.empty((0, 3)))
    first: MeasuredPhoto | None = None
    seen: np.ndarray | None = None


@dataclass(frozen=True)
class Earlier:
    """An earlier photo's readings as a book keeps them.

    Attributes
    ----------
    source : str
        Its name in the book.
    readings : DataFrame
        `reading, swatch, L, a, b` and the covariance; a cloth's area is named after its swatch.
    shared : DataFrame
        Their rows of `table.SHARED` under this source.
    """

    source: str
    readings: pd.DataFrame
    shared: pd.DataFrame


@dataclass(frozen=True)
class JoinedPhoto:
    """A photo measured as going with an earlier one.

    Attributes
    ----------
    measured : MeasuredPhoto
        Its shared errors under the earlier photo's source; colours less what the witnesses say
        that the camera did.
    witnesses : DataFrame
        `swatch, dE00` (change between the photos before it was taken off), `large`.
    taken_off : ndarray (3,)
        L*, a*, b* taken off every window.
    """

    measured: MeasuredPhoto
    witnesses: pd.DataFrame
    taken_off: np.ndarray


def pair_sentences(kin: Kinship, made: JoinedPhoto | None) -> list[str]:
    """Say whether two photos go together and, where they do, what the witnesses saw.

    Examples
    --------
    >>> import numpy as np
    >>> from dyelab import measure
    >>> measure.pair_sentences(measure.Kinship("look", 4.0, np.empty((0, 3))), None)[0][:31]
    "These photos don't go together:"
    """
    if made is None:
        return [words.say(f"capture.apart_{kin.verdict}", apart=kin.apart)]
    said = [words.say("capture.together", apart=kin.apart)]
    for row in made.witnesses.to_dict("records"):
        key = "capture.witness_large" if row["large"] else "capture.witness"
        said.append(words.say(key, swatch=row["swatch"], change=row["dE00"]))
    return said


def kinship(
    first: MeasuredPhoto,
    second: MeasuredPhoto,
    *,
    files: tuple[str | Path, str | Path] | None = None,
) -> Kinship:
    """Check on target and paper, and by what the files say, whether two photos go together.

    Parameters
    ----------
    first, second : MeasuredPhoto
        Both with card and target.
    files : tuple of two paths, optional
        The photos' files, for the camera that they name.

    Examples
    --------
    >>> from dyelab import calibrate, measure, read, synth
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> measured = measure.photo(picture, calibrate.reference("average"))
    >>> measure.kinship(measured, measured).verdict
    'together'
    """
    if files is not None and other_camera(*files):
        return Kinship(OTHER_CAMERA)
    if not (_shows_target(first) and _shows_target(second)):
        return Kinship(NO_TARGET)
    cal, later = first.setup.calibration, second.setup.calibration
    stored = later.undoing.redo(second.values)
    # One phone bends light as exposed, or it exposes what it has bent: whichever explains it.
    apart, seen = min(
        (_seen_again(first, second, stored, bent) for bent in (False, True)), key=lambda one: one[0]
    )
    verdict = TOGETHER if apart <= MOST_APART else OTHER_LOOK
    return Kinship(verdict, apart, later.lab(second.values) - cal.lab(seen), first, seen)


def _seen_again(
    first: MeasuredPhoto, second: MeasuredPhoto, stored: np.ndarray, bent: bool
) -> tuple[float, np.ndarray]:
    """How far the patches are from the first photo's, and stored values (n, 3) as it undoes them.

    Exposure and white balance apart, which each photo's own calibration takes care of: factors of
    the light as stored, if it was `bent` before, else of the light as it came in.
    """
    cal = first.setup.calibration
    tone = Tone() if bent else cal.undoing.tone
    lit = [tone.undo(np.maximum(m.setup.calibration.witnesses, 1e-4)) for m in (first, second)]
    gain = np.exp(np.median(np.log(lit[1] / lit[0]), axis=0))

    def undone(values: np.ndarray, by: np.ndarray | float) -> np.ndarray:
        values = tone.undo(values) / by
        return cal.undoing.undo(values) if bent else cal.undoing.values(values)

    labs = [cal.lab(undone(one.setup.calibration.witnesses, by))
            for one, by in ((first, 1.0), (second, gain))]  # fmt: skip
    even = eye_scale((labs[0] + labs[1]) / 2)
    moved = np.einsum("nij,nj->ni", even, labs[1] - labs[0]) ** 2
    noise = even @ (_storing_doubt(first) + _storing_doubt(second)) @ np.swapaxes(even, 1, 2)
    real = (moved - np.diagonal(noise, axis1=1, axis2=2)) @ [LIGHTNESS, 1, 1]
    return float(np.sqrt(max(real.mean(), 0))), undone(stored, gain)


def _shows_target(made: MeasuredPhoto) -> bool:
    setup = made.setup
    return setup.target is not None and len(setup.calibration.witnesses) >= 24


def _storing_doubt(made: MeasuredPhoto) -> np.ndarray:
    """Covariance (n, 3, 3) of the patches' colours from storing them in 8 bits."""
    cal = made.setup.calibration
    values = cal.undoing.undo(cal.witnesses)
    slope = cal.slope(values)
    return slope @ single_photo.storing_error(values, 255) @ np.swapaxes(slope, 1, 2)


def other_camera(first: str | Path, second: str | Path) -> bool:
    """Whether both files name a camera, and not the same one."""
    cameras = [file_data(path)["camera"] for path in (first, second)]
    return all(cameras) and cameras[0] != cameras[1]


def join(
    earlier: Earlier,
    kin: Kinship,
    measured: MeasuredPhoto,
    names: dict[str, str],
    witnesses: tuple[str, ...] = (),
) -> JoinedPhoto:
    """Give a photo's readings the errors that they share with an earlier photo's.

    Parameters
    ----------
    earlier : Earlier
        The photo it goes with, as the book keeps it.
    kin : Kinship
        Of the two photos.
    measured : MeasuredPhoto
        The later photo.
    names : dict of str to str
        Swatch of each place.
    witnesses : tuple of str
        Swatches that were never treated; those that the earlier photo doesn't show are left out.

    Notes
    -----
    The later colours are drawn towards what the first photo's calibration says of them, and their
    calibration's doubt is its doubt. Its factors are turned until they say of the earlier readings
    what the book says (orthogonal Procrustes problem; Schönemann, Psychometrika 31, 1966), then
    drawn in so far that what remains of a difference is what position leaves: with K the
    calibration's covariance and R what remains, by I - R K⁻¹ / 2.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import book, calibrate, measure, read, synth
    >>> rows = pd.DataFrame({"swatch": ["K-01"]})
    >>> bk = book.save(book.create(folder / "mine"))
    >>> bk = book.save(book.add(bk, swatches=rows))
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> measured = measure.photo(picture, calibrate.reference("average"))
    >>> bk = book.save(book.add_photo(bk, measured, photo, {"A1": "K-01"})[0])
    >>> first = measure.earlier(bk, bk.photos["photo"].iloc[0])
    >>> kin = measure.kinship(measured, measured)
    >>> measure.join(first, kin, measured, {"A1": "K-01"}).taken_off.tolist()
    [0.0, 0.0, 0.0]
    """
    measured, common = _as_the_first(measured, kin, earlier)
    table = measured.table
    codes = table["place"].map(names).fillna("").to_numpy()
    before = earlier.readings.drop_duplicates("swatch").set_index("swatch")
    was = before[LAB].reindex(codes).to_numpy(float)
    there = [w for w in witnesses if w in before.index and w in codes]
    at = [int(np.flatnonzero(codes == w)[0]) for w in there]
    clipped = _is_clipped(table["flags"]) | _is_clipped(before["flags"].reindex(codes).fillna(""))
    shared, doubt = _share(earlier, kin, measured, common, was, clipped)
    told, off = _tell_witnesses(table, codes, was, doubt, at), np.zeros(3)
    if told["large"].any():  # position did more than it usually does
        moved = (table[LAB].to_numpy(float) - was)[at]
        more = moved.T @ moved / len(at)
        shared, doubt = _share(earlier, kin, measured, common, was, clipped, more)
        own = doubt[at].mean(axis=0) / len(at)
        off = more @ np.linalg.solve(more + own, moved.mean(axis=0))
    shown = table.copy()
    shown[LAB] = np.clip(table[LAB].to_numpy() - off, [0, -160, -160], [100, 160, 160]).round(4)
    if off.any():
        shown["flags"] = (shown["flags"] + " witnessed").str.strip()
    return JoinedPhoto(replace(measured, table=shown, shared=shared), told, off)


def _as_the_first(
    measured: MeasuredPhoto, kin: Kinship, earlier: Earlier
) -> tuple[MeasuredPhoto, "_Factors"]:
    """Take off what the later calibration says otherwise than the first, as far as it is noise.

    What both get wrong is then the first one's error: returned are its factors at these colours.
    """
    assert kin.first is not None, "only photos that go together are joined"
    assert kin.seen is not None
    table = measured.table
    own = _factors(measured.shared, (table["photo"] + "/" + table["place"]).tolist())
    by_first = _by_the_first(measured, kin.first, kin.seen, earlier)
    covariance = covariances(table) - own.whole + by_first.whole
    lab = (table[LAB] - REFITTED * kin.refitted).clip([0, -160, -160], [100, 160, 160])
    return replace(
        measured, table=single_photo.with_doubt(table.assign(**lab), covariance)
    ), by_first


def _by_the_first(
    measured: MeasuredPhoto, first: MeasuredPhoto, seen: np.ndarray, earlier: Earlier
) -> "_Factors":
    """Return the first calibration's doubt of a later photo's windows, as the book counts it."""
    here, there, shading = window_middles(first), window_middles(measured), first.setup.shading
    off = None
    if shading is not None and here is not None and there is not None:
        off = shading.off(np.concatenate([here, there]), WINDOW_MM)
    values = np.concatenate([first.values, seen])
    common, own = single_photo.calibration_doubt(first.setup.calibration, values, off)
    common, n = single_photo.main_factors(common), len(first.values)
    photo = _turn(earlier, first.table[LAB], common[:n], common[n:])
    return _Factors(photo, numerics.symmetric_root(own[n:]))


@dataclass(frozen=True)
class _Factors:
    """Factors of n readings: the photo's (n, f, 3), with their numbers, and the recipe's."""

    photo: np.ndarray
    recipe: np.ndarray
    numbers: np.ndarray = field(default_factory=lambda: np.empty(0))
    recipe_numbers: np.ndarray = field(default_factory=lambda: np.empty(0))

    @property
    def whole(self) -> np.ndarray:
        """Covariance (n, 3, 3) that they carry."""
        return _inner(self.photo) + _inner(self.recipe)


def _factors(shared: pd.DataFrame, readings: list[str]) -> _Factors:
    """Shared rows as arrays, in the order of these readings; zero where a factor is missing."""
    of_recipe = shared["scope"].eq("recipe")
    at, made = pd.Series(np.arange(len(readings)), index=readings), []
    for rows in (shared[~of_recipe], shared[of_recipe]):
        numbers = np.sort(rows["factor"].unique()).astype(int)
        values = np.zeros((len(readings), len(numbers), 3))
        kept = rows[rows["reading"].isin(readings)]
        which = np.searchsorted(numbers, kept["factor"].to_numpy(int))
        values[at.loc[kept["reading"]].to_numpy(), which] = kept[LAB].to_numpy(float)
        made.append((values, numbers))
    return _Factors(made[0][0], made[1][0], made[0][1], made[1][1])


def _share(
    earlier: Earlier,
    kin: Kinship,
    measured: MeasuredPhoto,
    second: _Factors,
    was: np.ndarray,
    clipped: np.ndarray,
    more: np.ndarray | float = 0.0,
) -> tuple[pd.DataFrame, np.ndarray]:
    """Rows of the later photo under the earlier one's source, and doubt (n, 3, 3) of a change."""
    table = measured.table
    first = _factors(earlier.shared, list(earlier.readings["reading"]))
    lab, whole = table[LAB].to_numpy(float), second.whole
    cloth = covariances(table) - whole
    change = np.nan_to_num(np.linalg.norm(lab - was, axis=1))
    left = (
        2.0 * clipped[:, None, None] * whole
        + 2 * SCATTER * cloth
        + NOISE * kin.refitted[:, :, None] * kin.refitted[:, None]
        + ((GAIN * change) ** 2)[:, None, None] * np.eye(3)
        + more
    )
    kept = _keep(whole, left)
    same = np.where(np.isnan(was[:, 0]), 1.0, np.exp(-0.5 * (change / CHANGED) ** 2))
    left = left + (1 - same)[:, None, None] * 2 * _inner(second.recipe)
    kept_own = kept + LIGHT * _light(measured) @ np.linalg.pinv(_inner(second.recipe), 1e-6, True)
    recipe = np.einsum("nkl,nfl->nfk", kept_own * same[:, None, None], second.recipe)
    photo = np.einsum("nkl,nfl->nfk", kept, second.photo)
    numbers = _numbers(first, photo.shape[1])
    many = min(recipe.shape[1], len(first.recipe_numbers))
    rows = [
        single_photo.shared_rows(table, earlier.source, photo, numbers, ["photo"] * len(numbers)),
        # Older books keep no recipe's part: then there is none to share it with.
        single_photo.shared_rows(
            table, earlier.source, recipe[:, :many], first.recipe_numbers[:many], ["recipe"] * many
        ),
    ]
    return pd.concat(rows, ignore_index=True), left + 2 * cloth


def _numbers(first: _Factors, count: int) -> np.ndarray:
    """The earlier photo's numbers, then others for factors that it doesn't have."""
    spare = int(max([0, *first.numbers, *first.recipe_numbers])) + 1
    more = np.arange(spare, spare + max(count - len(first.numbers), 0))
    return np.concatenate([first.numbers, more])[:count]


def _turn(earlier: Earlier, lab: pd.DataFrame, known: np.ndarray, given: np.ndarray) -> np.ndarray:
    """Turn factors (n, f, 3) as those known of colours (m, f, 3) must be for what a book says."""
    kept = _factors(earlier.shared, list(earlier.readings["reading"])).photo
    base = earlier.readings[LAB].to_numpy(float)
    apart = ((base[:, None] - lab.to_numpy(float)) ** 2).sum(axis=-1)
    size = max(kept.shape[1], given.shape[1])
    flat = [
        np.moveaxis(_pad(one, size), 1, 2).reshape(-1, size)
        for one in (known[apart.argmin(axis=1)], kept)
    ]
    u, _, v = np.linalg.svd(flat[0].T @ flat[1])
    return np.einsum("nfk,fg->ngk", _pad(given, size), u @ v)


def _pad(factors: np.ndarray, size: int) -> np.ndarray:
    more = np.zeros((len(factors), size - factors.shape[1], 3))
    return np.concatenate([factors, more], axis=1)


def _inner(factors: np.ndarray) -> np.ndarray:
    return np.einsum("nfk,nfl->nkl", factors, factors)


def _keep(whole: np.ndarray, left: np.ndarray) -> np.ndarray:
    """What is kept of each factor, I - R K⁻¹ / 2 within 0 and 1, (n, 3, 3)."""
    values, vectors = np.linalg.eigh(whole)
    root = np.sqrt(np.maximum(values, 1e-8))
    out = (vectors * root[:, None]) @ np.swapaxes(vectors, 1, 2)
    into = (vectors / root[:, None]) @ np.swapaxes(vectors, 1, 2)
    sizes, axes = np.linalg.eigh(into @ left @ into)
    share = np.clip(1 - sizes / 2, 0, 1)
    return out @ (axes * share[:, None]) @ np.swapaxes(axes, 1, 2) @ into


def _light(measured: MeasuredPhoto) -> np.ndarray:
    """Covariance (n, 3, 3) of each colour from what isn't known of the light on its own window."""
    setup = measured.setup
    if setup.shading is None:
        return np.zeros((len(measured.values), 3, 3))
    along = setup.shading.left * setup.calibration.slope(measured.values).sum(axis=2)
    return along[:, :, None] * along[:, None]


def _is_clipped(flags: pd.Series) -> np.ndarray:
    """Whether a window itself was clipped: its channel at the end shows no change."""
    return np.array(["clipped" in str(words).split() for words in flags], bool)


def _tell_witnesses(
    table: pd.DataFrame, codes: np.ndarray, was: np.ndarray, doubt: np.ndarray, at: list[int]
) -> pd.DataFrame:
    """What each witness saw, and whether it is more than position and noise usually do.

    Less than that is not taken off: two witnesses' own noise outweighs it (pairs.py).
    """
    now = table[LAB].to_numpy(float)[at]
    size = np.einsum("nk,nkl,nl->n", now - was[at], np.linalg.inv(doubt[at]), now - was[at])
    return pd.DataFrame(
        {"swatch": codes[at], "dE00": convert.dE00(was[at], now), "large": size > _FAR}
    )


def with_earlier(
    bk: Book, source: str, made: MeasuredPhoto, file: Path | None, reference: Reference | None
) -> tuple[Earlier, Kinship]:
    """Measure an earlier photo again, as it lies in the book, and compare another with it.

    Parameters
    ----------
    bk : Book
    source : str
        Of the earlier photo, as the book's readings name it.
    made : MeasuredPhoto
        The later photo.
    file : Path, optional
        Its file, for the camera that it names.
    reference : Reference or None
        The target's values.

    Raises
    ------
    InputError
        If the earlier photo has gone, or can't be measured with this target's values.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import book, calibrate, measure, read, synth
    >>> bk = book.save(book.create(folder / "mine"))
    >>> bk = book.save(book.add(bk, swatches=pd.DataFrame({"swatch": ["K-01"]})))
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> average = calibrate.reference("average")
    >>> made = measure.photo(read.photo(photo), average)
    >>> bk = book.save(book.add_photo(bk, made, photo, {"A1": "K-01"})[0])
    >>> source = bk.photos["photo"].iloc[0]
    >>> measure.with_earlier(bk, source, made, None, average)[1].verdict
    'together'
    """
    before = earlier(bk, source)
    path = path_inside(bk, before.source)
    if not path.is_file():
        raise InputError(
            f"{before.source} is no longer in the book's folder, so nothing can be compared with "
            "it. Put it back, or let this photo stand alone."
        )
    first = photo(read_photo(path), reference, white=made.setup.calibration.white)
    return before, kinship(first, made, files=None if file is None else (path, file))


def earlier(bk: Book, photo: str) -> Earlier:
    """Return a photo of a book with its readings, or the one that it goes with itself.

    Raises
    ------
    InputError
        If the book has no readings from that photo.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import book, calibrate, measure, read, synth
    >>> rows = pd.DataFrame({"swatch": ["K-01"]})
    >>> bk = book.save(book.create(folder / "mine"))
    >>> bk = book.save(book.add(bk, swatches=rows))
    >>> photo = synth.sources() / "photos" / "rendered_card_W01_W24.jpg"
    >>> picture = read.photo(photo)
    >>> measured = measure.photo(picture, calibrate.reference("average"))
    >>> bk = book.save(book.add_photo(bk, measured, photo, {"A1": "K-01"})[0])
    >>> len(measure.earlier(bk, bk.photos["photo"].iloc[0]).readings)
    1
    """
    source = first_photo(bk, photo)
    rows = bk.readings[bk.readings["source"].eq(source) & bk.readings["part"].eq("swatch")]
    shared = bk.shared[bk.shared["source"].eq(source) & bk.shared["reading"].isin(rows["reading"])]
    if rows.empty or shared.empty:
        raise InputError(
            f"{photo}: the book has no readings of this photo with the error that they share. "
            "Choose a photo whose readings are in the book."
        )
    rows = rows.assign(swatch=table.pieces(rows)).reset_index(drop=True)
    return Earlier(source, rows, shared.reset_index(drop=True))


def first_photo(bk: Book, photo: str) -> str:
    """Source of the first photo that a photo goes with, by whichever photos between."""
    goes = bk.photos[bk.photos["goes_with"].fillna("").ne("")]
    before = dict(zip(goes["photo"], goes["goes_with"], strict=True))
    name, seen = photo.removeprefix("photos/"), set()
    while name in before and name not in seen:
        seen.add(name)
        name = before[name]
    return f"photos/{name}"
