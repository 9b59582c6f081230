"""Books, recipes and photos drawn at random in the generator's own world; seeded."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from dyelab import convert
from worlds.synth import Synth, simulate, varied
from worlds.synth.render import Shot
from worlds.synth.series import USUAL_DOSE, filled


def random_book(
    seed: int,
    n: int,
    *,
    replicates: int = 2,
    swatch_sd: float = 0.1,
    reading_sd: float = 0.004,
    exposures: Sequence[tuple[str, float]] = (),
    spread: float = 0.2,
) -> Synth:
    """Draw a world and `n` recipes at random, and simulate the book.

    Parameters
    ----------
    seed : int
        Chooses the world, the recipes and the noise.
    n : int
        Recipes; the book has ``n * replicates`` swatches.
    replicates, swatch_sd, reading_sd, exposures
        As for `simulate`.
    spread : float
        How far the world may lie from the standard one; see `varied`.

    Returns
    -------
    Synth
    """
    rng = np.random.default_rng(seed)
    world = varied(int(rng.integers(2**32)), spread)
    return simulate(
        random_recipes(n, rng),
        int(rng.integers(2**32)),
        replicates=replicates,
        swatch_sd=swatch_sd,
        reading_sd=reading_sd,
        exposures=exposures,
        cloth=world,
    )


def random_recipes(n: int, rng: np.random.Generator) -> pd.DataFrame:
    """Draw recipes within the trade's usual doses, shape (n, ...), swatches `S001` and on."""
    fibre = rng.choice(["wool", "cotton"], n)
    tannin = rng.choice(["none", "gallnut", "pomegranate rind"], n)
    dye = rng.choice(["madder", "weld", "cochineal", "walnut hull", "indigo"], n)
    mordant = rng.choice(["none", "potash alum", "aluminium acetate"], n, p=[0.25, 0.45, 0.3])
    mordant = np.where(dye == "indigo", "none", mordant)
    metal = rng.choice(["none", "iron", "copper"], n, p=[0.4, 0.35, 0.25])
    dose = rng.choice([0.5, 1.0, 2.0, 4.0], n)
    strength = rng.choice([0.5, 1.0, 1.5], n)
    salt = {"none": 0.0, "potash alum": 15.0, "aluminium acetate": 8.0}
    frame = pd.DataFrame({"fibre": fibre, "tannin": tannin, "dye": dye, "mordant": mordant})
    return filled(
        frame.assign(
            tannin_wof=np.where(tannin == "none", 0.0, rng.choice([5.0, 8.0, 10.0], n)),
            mordant_wof=frame["mordant"].map(salt),
            dye_wof=frame["dye"].map(USUAL_DOSE) * strength,
            iron_wof=np.where(metal == "iron", dose, 0.0),
            copper_wof=np.where(metal == "copper", dose, 0.0),
        )
    )


def random_shot(seed: int, **fixed: object) -> Shot:
    """Draw the circumstances of a photo; what is given in `fixed` stays so."""
    rng = np.random.default_rng(seed)
    quarter = int(rng.integers(4))
    drawn = Shot(
        camera=str(rng.choice(convert.cameras())),
        tilt=float(rng.uniform(0, 30)),
        towards=float(rng.uniform(0, 360)),
        turn=float(rng.uniform(0, 360)),
        falloff=float(rng.uniform(0, 0.25)),
        blur=float(rng.uniform(0.4, 1.2)),
        noise=float(rng.uniform(0.002, 0.01)),
        exposure=float(rng.uniform(0.6, 0.8)),
        quality=int(rng.integers(85, 96)),
        weave=float(rng.uniform(0.02, 0.12)),
        target=(*rng.uniform(-4, 4, 2), float(rng.uniform(0.7, 1.0)),
                90.0 * quarter + float(rng.uniform(-4, 4))),
    )  # fmt: skip
    return replace(drawn, **fixed)  # type: ignore[arg-type]
