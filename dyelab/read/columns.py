"""Which column is what: sample, CIELAB, wavelengths, white, by any usual name."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from dyelab import limits

_SPECTRAL = re.compile(
    r"^(?:spectral[ _]?(?:nm|pct|dec)?|spectrum|spec|reflectance|refl|ref|r%|%r|% r|pct nm|r|"
    r"wavelength|wave|wl|nm|w|λ)?[ _\-.:]*[(\[]?(\d{3,4}(?:[.,]\d+)?)[ _]*(?:nm)?[)\]]?"
    r"[ _]*(?:nm)?(?:[ _]*[(\[]?(?:%|pct)(?:[ _]*r)?[)\]]?)?$",
    re.I,
)
_PERCENT = re.compile(r"pct|%|percent|per cent", re.I)
_LAB = {
    "L": {"l", "labl", "ciel", "lstar", "cielabl", "lightness"},
    "a": {"a", "laba", "ciea", "astar", "cielaba"},
    "b": {"b", "labb", "cieb", "bstar", "cielabb"},
}
_XYZ = {part: {part.lower(), f"xyz{part.lower()}", f"ciexyz{part.lower()}", f"cie{part.lower()}"}
        for part in "XYZ"}  # fmt: skip
_NUMBERED = ("sampleid", "id", "no", "nr")
_SAMPLE = ("samplename", "sample", "swatch", "name", "label", "reading", *_NUMBERED)
_NUMBER = (*_NUMBERED, "number", "reading")
_ILLUMINANT = {"illuminant", "illum", "illuminantname"}
_OBSERVER = {"observer", "obs", "observerangle", "observerdeg", "observerdegree"}


@dataclass(frozen=True)
class Roles:
    """Column names of a table by what they hold; None or empty where there are none."""

    sample: str | None
    lab: dict[str, str]
    bands: dict[float, str]
    illuminant: str | None
    observer: str | None
    percent: bool
    xyz: dict[str, str] = field(default_factory=dict)
    number: str | None = None  # a column that numbers the rows, beside the sample's name

    @property
    def others(self) -> set[str]:
        """Names that this reading has taken up."""
        named = {self.sample, self.illuminant, self.observer} - {None}
        return {str(n) for n in named}.union(
            self.lab.values(), self.xyz.values(), self.bands.values()
        )


def _plain(name: str) -> str:
    without = re.sub(r"[(\[].*?[)\]]", "", name[: limits.PHRASE])
    return re.sub(r"[^a-z0-9]", "", without.lower())


def wavelength(name: str) -> float | None:
    """Wavelength in nm that a column name states, or None."""
    found = _SPECTRAL.match(name.strip()[: limits.PHRASE])
    nm = float(found.group(1).replace(",", ".")) if found else 0
    return nm if 300 <= nm <= 1100 else None


def roles(names: Sequence[str]) -> Roles:
    """Find what each column of a table holds, by its name."""
    bands = {nm: name for name in names if (nm := wavelength(name)) is not None}
    lab, xyz = _parts(names, _LAB), _parts(names, _XYZ)
    sample = _first(names, _SAMPLE)
    number = _first([name for name in names if name != sample], _NUMBER)
    return Roles(
        sample,
        lab if len(lab) == 3 else {},
        bands if len(bands) >= 8 else {},
        next((name for name in names if _plain(name) in _ILLUMINANT), None),
        next((name for name in names if _plain(name) in _OBSERVER), None),
        any(_PERCENT.search(name) for name in bands.values()),
        xyz if len(xyz) == 3 else {},
        number,
    )


def _parts(names: Sequence[str], wanted: dict[str, set[str]]) -> dict[str, str]:
    return {
        part: name
        for part, known in wanted.items()
        for name in reversed(names)
        if _plain(name) in known
    }


def _first(names: Sequence[str], wanted: Sequence[str]) -> str | None:
    """Return the first of the wanted names that is there."""
    return next((name for want in wanted for name in names if _plain(name) == want), None)


def is_header(cells: Sequence[str]) -> bool:
    """Whether a row of cells names the columns of a table of readings."""
    if not cells:
        return False
    names = [str(cell).strip() for cell in cells]
    found = roles(names)
    # A row of whole numbers could pass for wavelengths: those of a header rise.
    bands = list(found.bands)
    rising = bands in (sorted(bands), sorted(bands, reverse=True))
    return bool(found.lab or found.xyz) or (bool(bands) and rising)
