"""How a file says its colours were read, in the words of `table.CONDITIONS`; and what isn't cloth.

Geometry as CIE 15 writes it (45°:0°, di:8°), M0 to M3 as ISO 13655 names them.
"""

import re
from collections.abc import Iterable, Mapping

from dyelab import convert
from dyelab.errors import InputError

_ANGLES = re.compile(r"(?<![\d.])(0|45)\s*°?\s*[xac]?\s*[/:]\s*(0|45)\s*°?\s*[xac]?(?![\d.])", re.I)
_SPHERE = re.compile(r"(?<![a-z])(d[ie]?|t)\s*[/:]\s*([08])(?![\d.])", re.I)
_GLOSS = {
    "in": re.compile(r"\b(SCI|RSIN|specular (component )?in(cluded)?|di\s*[/:]\s*8)\b", re.I),
    "out": re.compile(r"\b(SCE|RSEX|specular (component )?(out|excluded)|de\s*[/:]\s*8)\b", re.I),
}
_M = re.compile(r"(?<![A-Z0-9])(M[0-3])(?![A-Z0-9])", re.I)
_CUT = re.compile(r"UV[ _-]?(cut|filter|excluded|off)|(no|without)[ _-]?UV", re.I)
_MM = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:mm)?\b", re.I)
_BACKING = re.compile(r"\b(white|black|self|substrate)\b", re.I)
# Words of what is measured instead of reflectance, and how to call it.
_NOT_CLOTH = {
    "light that passes through (transmittance)": r"transmi(tt?ance|ssion|ssive|ssivity)",
    "light that is sent out (emission)": r"emi(ssion|ssive|ttance)|(ir)?radiance|radiant",
    "a light source": r"spectral power|descriptor.*light ?source|illuminant (spd|spectr)|\bspd\b",
    "the functions of an observer": r"colou?r[- _]?matching|observer functions?|\bcmfs?\b",
    "absorbance": r"absorbance|optical density",
}
_BARS = re.compile(r"^[xyzlms][_ ]?(bar|2|10|λ|\(λ\)|lambda)?[_ ]?(2|10)?$", re.I)


def conditions(stated: Iterable[tuple[str, ...]]) -> dict[str, str]:
    """Conditions of measurement that (key, value) pairs of a file's head state."""
    found: dict[str, str] = {}
    for key, value in stated:
        for name, cell in _of_line(key.lower(), value).items():
            found.setdefault(name, cell)
    return found


def _of_line(key: str, value: str) -> dict[str, str]:
    made: dict[str, str] = {}
    if "geometry" in key:
        made["geometry"] = geometry(value)
    for kind, words in _GLOSS.items():
        if ("geometry" in key or "specular" in key) and words.search(value):
            made["specular"] = kind
    if re.search(r"condition|filter|source|illumination|measurement", key):
        m = _M.search(value)
        made["m_condition"] = m[1].upper() if m else "M2" if _CUT.search(value) else ""
    if "aperture" in key and (width := _MM.search(value)):
        made["aperture_mm"] = width[1].replace(",", ".")
    if "backing" in key and (under := _BACKING.search(value)):
        made["backing"] = under[1].lower()
    if key in ("layers", "number_of_layers") and value.strip().isdigit():
        made["layers"] = value.strip()
    return {name: cell for name, cell in made.items() if cell}


def geometry(text: str) -> str:
    """A geometry in one spelling, such as ``45/0`` or ``d/8``; else as it is written."""
    angles, sphere = _ANGLES.search(text), _SPHERE.search(text)
    if angles:
        return f"{angles[1]}/{angles[2]}"
    if sphere:
        return f"{sphere[1][0].lower()}/{sphere[2]}"
    return text.strip()


def refuse_other_than_cloth(name: str, told: Iterable[str], samples: Iterable[str]) -> None:
    """Refuse what a file calls something else than reflectance.

    Parameters
    ----------
    name : str
        Of the file.
    told : iterable of str
        What its head says of the measurement.
    samples : iterable of str

    Raises
    ------
    InputError
        With what it is, and by which words that is known.
    """
    for text in told:
        for what, pattern in _NOT_CLOTH.items():
            found = re.search(pattern, text, re.I)
            if found:
                raise _no_cloth(name, what, repr(found[0]))
    names = [str(sample).strip() for sample in samples]
    lights = set(convert.illuminants())
    if len(names) and all(n in lights for n in names) and any(len(n) > 1 for n in names):
        raise _no_cloth(name, "a light source", f"samples {', '.join(names[:4])}")
    if len(names) in (3, 6) and all(map(_BARS.match, names)) and names[0][0].lower() in "xl":
        raise _no_cloth(name, "the functions of an observer", f"samples {', '.join(names[:3])}")


def _no_cloth(name: str, what: str, by: str) -> InputError:
    return InputError(
        f"{name}: this is {what}, not the reflectance of cloth ({by} says so), so it has no colour "
        "to convert. Give a file of reflectance factors, or of CIELAB or XYZ."
    )


def column_conditions(columns: Iterable[str]) -> Mapping[str, str]:
    """Which columns of a table state a condition, by the name that `table.CONDITIONS` gives it."""
    known = {
        "geometry": "geometry", "measurementgeometry": "geometry", "angle": "geometry",
        "aspecularangle": "geometry", "measurementangle": "geometry", "specular": "specular",
        "specularcomponent": "specular", "mcondition": "m_condition", "aperture": "aperture_mm",
        "aperturemm": "aperture_mm", "backing": "backing", "layers": "layers",
        "measurementcondition": "m_condition",
    }  # fmt: skip
    plain = {column: re.sub(r"[^a-z]", "", column.lower()) for column in columns}
    return {column: known[key] for column, key in plain.items() if key in known}
