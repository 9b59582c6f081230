"""Write the example: Marlpit Yard's instrument files, its recipe tables, and its swatch book."""

import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from dyelab import files, table
from dyelab.synth import write_book
from worlds.synth import instruments, noise, studio
from worlds.synth.fade import blue_wool, stained
from worlds.synth.series import BANDS, Synth, readings, simulate

if TYPE_CHECKING:
    pass

SEED = 1878
MADE_AT = "2025-09-30T09:00:00+00:00"
SWATCH_SD, READING_SD = 0.08, 0.004
# What was washed beside undyed cloth, to see what it gives off.
STAINED = 12
NOTICE = """Marlpit Yard is an invented studio. Nothing in this folder was measured.

The spectra were computed by our model of dyed cloth (tests/worlds/synth), whose numbers are
invented too. They show how the program works; they say nothing about any real dye, plant,
cloth or supplier, and no recipe here is advice.

  swatches.csv, steps.csv   what was dyed, and every bath in order
  tests.csv                 how the washing and the light were done
  measured.csv              one row a reading: which swatch, after what, in which file
                            (BW1 to BW8 are blue wool references, lit beside the swatches)
  wool_as_dyed.txt          spectra as CGATS text
  cotton_as_dyed.cxf        spectra as CxF3
  washed.xlsx               spectra as a spreadsheet, in per cent
  light.csv                 spectra as a CSV table, as factors
  photos/                   a second batch, as a rendered photo of the swatch card, with its
                            recipes, and the same cloth by an instrument to check against
"""


def invented() -> Synth:
    """Return the example as simulated, truth included; only what the studio really read.

    The studio read every swatch as dyed, and the first of each recipe after washing and light.
    """
    swatches = studio.recipes()
    whole = simulate(
        swatches,
        SEED,
        replicates=1,
        swatch_sd=SWATCH_SD,
        reading_sd=READING_SD,
        exposures=studio.EXPOSURES,
        pots=studio.pots(swatches),
    )
    cut = set(swatches.loc[studio.cut_up(swatches), "swatch"])
    kept = whole.wide["swatch"].isin(cut) | (whole.wide["exposure"] == "none")
    names = set(whole.wide.loc[kept, "reading"])
    wide, spectra, truth = (_only(t, names) for t in (whole.wide, whole.spectra, whole.truth))
    return replace(whole, wide=wide, spectra=spectra, truth=truth)


def _only(frame: pd.DataFrame, names: set[str]) -> pd.DataFrame:
    return frame[frame["reading"].isin(names)].reset_index(drop=True)


def adjacent() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Undyed wool and cotton washed beside some swatches: readings and spectra.

    Returns
    -------
    readings : DataFrame
        As `table.READINGS`; part is ``adjacent wool`` or ``adjacent cotton``, read before
        (exposure none) and after five washes.
    spectra : DataFrame
        `reading` and one column a wavelength.
    """
    swatches = studio.recipes()
    dyed = swatches[studio.cut_up(swatches) & (swatches["dye"] != "none")]
    some = dyed.iloc[np.linspace(0, len(dyed) - 1, STAINED).astype(int)].reset_index(drop=True)
    rng = np.random.default_rng(SEED + 1)
    logs, read = [], []
    for fibre in ("wool", "cotton"):
        for cycles in (0.0, 5.0):
            true = stained(some, fibre, cycles)
            read.append(noise.read_spectra(true, READING_SD, rng))
            logs.append(_beside(some["swatch"], fibre, cycles))
    spectra = np.concatenate(read)
    log = readings(pd.concat(logs, ignore_index=True), spectra, READING_SD)
    bands = pd.DataFrame(spectra, columns=BANDS)
    return log, pd.concat([log[["reading"]], bands], axis=1)


def _beside(swatches: pd.Series, fibre: str, cycles: float) -> pd.DataFrame:
    ending = f"-{fibre}" + (f"-w{cycles:g}" if cycles else "")
    return pd.DataFrame(
        {
            "reading": swatches + ending,
            "swatch": swatches,
            "part": f"adjacent {fibre}",
            "exposure": "wash" if cycles else "none",
            "amount": cycles,
            "unit": "cycle" if cycles else "",
        }
    )


def references() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Blue wool references beside the swatches in the light: readings and spectra."""
    steps = np.arange(1, 9)
    rng = np.random.default_rng(SEED + 2)
    logs, read = [], []
    for dose in (0.0, *studio.LIGHT_DOSES):
        read.append(noise.read_spectra(blue_wool(steps, dose), READING_SD, rng))
        logs.append(_lit(studio.references()["swatch"], dose))
    spectra = np.concatenate(read)
    log = readings(pd.concat(logs, ignore_index=True), spectra, READING_SD)
    return log, pd.concat([log[["reading"]], pd.DataFrame(spectra, columns=BANDS)], axis=1)


def _lit(swatches: pd.Series, dose: float) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "reading": swatches + (f"-l{dose / 1e6:g}" if dose else ""),
            "swatch": swatches,
            "exposure": "light" if dose else "none",
            "amount": dose,
            "unit": "lx h" if dose else "",
        }
    )


def measured() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Everything the studio read: the log of `measured.csv`, and all spectra.

    Returns
    -------
    log : DataFrame
        One row a reading: the columns of `table.READINGS` but the colour, which is for the
        instrument files to give; the covariances are the instrument's repeatability.
    spectra : DataFrame
        `reading` and one column a wavelength.
    """
    book = invented()
    beside, beside_spectra = adjacent()
    blue, blue_spectra = references()
    columns = [name for name in table.READINGS.names if name not in (*table.LAB, *table.WHITE)]
    log = pd.concat([book.wide, beside, blue], ignore_index=True)[columns]
    fibre = log["swatch"].map(book.recipes.set_index("swatch")["fibre"])
    as_dyed = fibre.map({"cotton": "cotton_as_dyed.cxf"}).fillna("wool_as_dyed.txt")
    later = log["exposure"].map({"wash": "washed.xlsx", "light": "light.csv"})
    source = later.where(log["exposure"] != "none", as_dyed)
    source = source.where(log["part"] == "swatch", "washed.xlsx")
    test = log["exposure"].where(log["exposure"] != "none", "")
    log = log.assign(source=source, test=test, taken_at=_when(log))
    return log, pd.concat([book.spectra, beside_spectra, blue_spectra], ignore_index=True)


def _when(log: pd.DataFrame) -> pd.Series:
    day = log["exposure"].map({"none": "2025-07-28", "wash": "2025-08-18", "light": "2025-09-12"})
    return day + "T10:00:00"


def write_sources(folder: str | Path) -> None:
    """Write the studio's recipe tables, log and instrument files into a folder."""
    folder, swatches = Path(folder), studio.recipes()
    log, spectra = measured()
    made = pd.concat([studio.swatch_table(swatches), studio.references()], ignore_index=True)
    instruments.write_csv(made, folder / "swatches.csv")
    instruments.write_csv(studio.step_table(swatches), folder / "steps.csv")
    instruments.write_csv(studio.test_table(), folder / "tests.csv")
    terms = {name: log[name].map("{:.4g}".format) for name in table.COVARIANCE}
    instruments.write_csv(log.assign(**terms), folder / "measured.csv")

    def of(name: str) -> pd.DataFrame:
        return spectra[spectra["reading"].isin(log.loc[log["source"] == name, "reading"])]

    instruments.write_cgats(of("wool_as_dyed.txt"), folder / "wool_as_dyed.txt")
    instruments.write_cxf(of("cotton_as_dyed.cxf"), folder / "cotton_as_dyed.cxf")
    washed = instruments.percent(of("washed.xlsx"))
    instruments.write_xlsx(washed, folder / "washed.xlsx", "washed")
    light = of("light.csv").rename(columns={"reading": "sample"}).round(5)
    instruments.write_csv(light, folder / "light.csv")
    with files.whole(folder / "INVENTED.txt") as file:
        file.write(NOTICE)


def example_files(path: str | Path) -> None:
    """Write the whole example, the same every time: `path`/studio and `path`/marlpit_yard."""
    from worlds.synth import photo_batch

    path = Path(path)
    write_sources(path / "studio")
    photo_batch.write_phone(path / "studio" / "photos")
    photo_batch.write_cards(path / "studio" / "photos", measured()[1])
    bk = write_book(path / "studio", path / "marlpit_yard")
    _undated(bk.path)


def _undated(path: Path) -> None:
    """Take out of a book what depends on the day it was made: its history and its date."""
    shutil.rmtree(path / "history", ignore_errors=True)
    package = json.loads((path / "datapackage.json").read_text(encoding="utf-8"))
    with files.whole(path / "datapackage.json") as file:
        json.dump({**package, "created": MADE_AT}, file, ensure_ascii=False, indent=2)
        file.write("\n")
