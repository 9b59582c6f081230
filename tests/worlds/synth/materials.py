"""The invented materials: fibres, tannins, aluminium salts, dyes, and how each behaves.

Every number here is ours and invented. They were chosen so that the directions published for
natural dyes hold, and for nothing else; no number describes a product or a plant.
"""

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from worlds.synth.spectra import Band

Bands = tuple[Band, ...]


@dataclass(frozen=True)
class Fibre:
    """An undyed cloth and what it takes up."""

    floor: float  # K/S at the red end
    edge: float  # further K/S at 400 nm, the natural cream
    decay: float  # nm over which the cream falls by 1/e
    surface: float  # reflectance factor of the fibre's surface
    room: float  # dye at saturation, relative to wool
    bare: float  # share of that room open without any metal
    tannin: float  # tannin at saturation
    iron: float
    copper: float
    alum: float  # aluminium at saturation from alum and sulfate
    acetate: float  # aluminium at saturation from acetate
    rust: float  # iron held by the bare fibre, iron buff
    verdigris: float  # copper held by the bare fibre
    slack: float  # how much more of its dye sits loosely, relative to wool


@dataclass(frozen=True)
class Tannin:
    """A tannin: its own colour, and its colours with iron and copper."""

    half: float  # % WOF that fills half of the room
    own: Bands
    iron: Bands
    copper: Bands


@dataclass(frozen=True)
class Dye:
    """A dye: its uptake, its colour in each form, and how fast each form goes."""

    half: float  # % WOF that fills half of the room
    free: Bands
    alum: Bands
    iron: Bands
    copper: Bands
    substantive: float = 0.0  # 0 needs a metal to hold, 1 holds without
    tannin: float = 0.0  # tannin it brings along, per unit of uptake
    metals: float = 1.0  # 0 for a vat dye: no metal binds it
    light: float = 1.0  # fading speed, relative
    loose: float = 0.2  # share that sits loosely when no metal holds it


@dataclass(frozen=True)
class Cloth:
    """A whole invented world of cloth; the one under which a simulated book is true."""

    fibres: dict[str, Fibre]
    tannins: dict[str, Tannin]
    dyes: dict[str, Dye]
    rust: Bands  # iron on bare fibre
    verdigris: Bands  # copper on bare fibre
    brown: Bands  # what faded dye leaves behind
    iron_half: float = 3.0  # % WOF ferrous sulfate that gives half of the iron a fibre can take
    copper_half: float = 3.0  # % WOF copper sulfate, likewise
    alum_half: float = 6.0
    acetate_half: float = 3.0
    iron_on_dye: float = 0.6  # iron at which half of the dye is bound to it
    copper_on_dye: float = 0.6
    alum_on_dye: float = 0.15
    iron_on_tannin: float = 0.35
    copper_on_tannin: float = 0.8
    alum_by_tannin: float = 0.45  # aluminium that tannin helps cellulose to hold
    site: float = 0.35  # metal that opens half of the remaining room for dye
    # Share of the iron that dye and tannin take from each other. With 0, what iron does to
    # the tannin is the same with the dye and without it, as tannin controls assume.
    rivalry: float = 0.0


FIBRES = {
    "wool": Fibre(
        floor=0.015,
        edge=0.26,
        decay=45,
        surface=0.004,
        room=1.0,
        bare=0.42,
        tannin=0.55,
        iron=1.0,
        copper=1.0,
        alum=1.0,
        acetate=0.85,
        rust=0.16,
        verdigris=0.10,
        slack=1.0,
    ),
    "silk": Fibre(
        floor=0.012,
        edge=0.12,
        decay=45,
        surface=0.005,
        room=0.85,
        bare=0.38,
        tannin=0.55,
        iron=0.85,
        copper=0.85,
        alum=0.85,
        acetate=0.75,
        rust=0.14,
        verdigris=0.09,
        slack=1.0,
    ),
    "cotton": Fibre(
        floor=0.008,
        edge=0.035,
        decay=60,
        surface=0.003,
        room=0.62,
        bare=0.07,
        tannin=1.0,
        iron=0.75,
        copper=0.6,
        alum=0.30,
        acetate=0.85,
        rust=0.20,
        verdigris=0.08,
        slack=1.8,
    ),
    "linen": Fibre(
        floor=0.020,
        edge=0.09,
        decay=60,
        surface=0.003,
        room=0.55,
        bare=0.06,
        tannin=0.9,
        iron=0.7,
        copper=0.55,
        alum=0.28,
        acetate=0.8,
        rust=0.20,
        verdigris=0.08,
        slack=1.8,
    ),
}

_GALLATE = (Band(575, 4200, 4.6), Band(425, 2600, 2.0), Band(670, 1700, 0.9))
_ELLAGATE = (Band(590, 4300, 3.6), Band(415, 3200, 3.4), Band(480, 2500, 0.8))

TANNINS = {
    "none": Tannin(1.0, (), (), ()),
    "gallnut": Tannin(6.0, (Band(340, 2400, 0.9),), _GALLATE, (Band(390, 4200, 1.1),)),
    "pomegranate rind": Tannin(
        7.0,
        (Band(375, 2700, 3.2), Band(440, 2600, 0.25)),
        _ELLAGATE,
        (Band(380, 3600, 3.4), Band(680, 2600, 0.25)),
    ),
}

ALUMINIUM = ("potash alum", "ammonium alum", "aluminium sulfate", "aluminium acetate")

DYES = {
    "none": Dye(1.0, (), (), (), (), metals=0.0),
    "madder": Dye(
        45.0,
        free=(Band(440, 2600, 6.0), Band(520, 1700, 1.2)),
        alum=(Band(500, 1650, 11.0), Band(530, 1000, 4.0), Band(430, 2600, 6.5)),
        iron=(Band(490, 3300, 12.5), Band(590, 2200, 3.2), Band(410, 3300, 8.0)),
        copper=(Band(485, 2400, 13.0), Band(550, 1900, 4.2), Band(410, 3300, 7.5)),
        light=0.8,
    ),
    "weld": Dye(
        40.0,
        free=(Band(375, 2400, 4.5),),
        alum=(Band(398, 1950, 14.0), Band(370, 2500, 4.0)),
        iron=(Band(400, 2700, 11.0), Band(470, 2700, 1.4), Band(655, 2600, 2.3)),
        copper=(Band(402, 2350, 13.0), Band(470, 2300, 0.7), Band(690, 2500, 0.9)),
        light=1.3,
    ),
    "cochineal": Dye(
        6.0,
        free=(Band(500, 2300, 5.5), Band(540, 1400, 1.2)),
        alum=(Band(525, 1550, 13.5), Band(558, 750, 4.5), Band(410, 3000, 3.4)),
        iron=(Band(550, 2700, 10.0), Band(620, 2000, 2.8), Band(410, 3300, 4.6)),
        copper=(Band(535, 2100, 11.0), Band(585, 1500, 2.8), Band(410, 3300, 4.0)),
        light=0.9,
    ),
    "walnut hull": Dye(
        60.0,
        free=(Band(390, 4200, 8.0), Band(500, 3800, 1.4)),
        alum=(Band(390, 4300, 8.6), Band(500, 3800, 1.7)),
        iron=(Band(400, 4300, 32.0), Band(560, 4200, 3.2)),
        copper=(Band(390, 4400, 10.5), Band(530, 3800, 2.4)),
        substantive=0.55,
        tannin=2.4,
        light=0.55,
        loose=0.12,
    ),
    "onion skin": Dye(
        40.0,
        free=(Band(390, 3000, 4.6), Band(470, 2600, 1.0)),
        alum=(Band(415, 2700, 7.0), Band(480, 2400, 1.6)),
        iron=(Band(410, 3600, 8.0), Band(500, 3200, 3.0), Band(600, 2800, 2.2)),
        copper=(Band(410, 3000, 7.5), Band(490, 2600, 2.4)),
        substantive=0.2,
        tannin=0.25,
        light=1.2,
    ),
    "indigo": Dye(
        3.0,
        free=(Band(650, 1700, 11.0), Band(585, 2300, 6.5), Band(380, 3000, 2.4)),
        alum=(),
        iron=(),
        copper=(),
        substantive=0.9,
        metals=0.0,
        light=0.3,
        loose=0.10,
    ),
}

CLOTH = Cloth(
    fibres=FIBRES,
    tannins=TANNINS,
    dyes=DYES,
    rust=(Band(380, 3300, 3.2), Band(480, 2300, 0.5)),
    verdigris=(Band(700, 2400, 0.9), Band(370, 2400, 0.6)),
    brown=(Band(385, 3600, 1.0),),
)


def varied(seed: int, spread: float = 0.2) -> Cloth:
    """Draw another invented world, for simulations that must not rest on one truth.

    Parameters
    ----------
    seed : int
        The same seed gives the same world.
    spread : float
        Standard deviation of the logarithm of every strength, width and rate; band peaks move
        by 30 nm times this. 0 returns the standard world.

    Returns
    -------
    Cloth
    """
    return _shaken(CLOTH, np.random.default_rng(seed), spread)


_KEPT = {"metals", "rivalry"}
_SHARES = {"bare", "substantive", "loose", "surface", "alum_by_tannin"}


def _shaken(thing: Any, rng: np.random.Generator, spread: float) -> Any:
    if isinstance(thing, Band):
        width, height = np.exp(rng.normal(0, spread, 2) * (0.3, 1.0))
        peak = thing.peak + 30 * spread * rng.normal()
        return Band(peak, thing.width * width, thing.height * height)
    if isinstance(thing, tuple):
        return tuple(_shaken(item, rng, spread) for item in thing)
    if isinstance(thing, dict):
        return {key: _shaken(item, rng, spread) for key, item in thing.items()}
    if isinstance(thing, float | int):
        return thing * float(np.exp(rng.normal(0, spread)))
    changed = {f.name: _shaken(getattr(thing, f.name), rng, spread) for f in fields(thing)}
    changed |= {name: getattr(thing, name) for name in _KEPT & set(changed)}
    changed |= {name: min(changed[name], 1.0) for name in _SHARES & set(changed)}
    return replace(thing, **changed)
