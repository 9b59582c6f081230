"""CxF3 / ISO 17972-1 XML, through a hardened parser."""

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from xml.etree.ElementTree import Element, ParseError

import pandas as pd

from dyelab import limits
from dyelab.errors import InputError
from dyelab.read.conditions import conditions
from dyelab.read.rows import Grid, illuminant_in, observer_in
from dyelab.table import fault

_Object = tuple[int, str, Element]  # place in the file, what it is called, its XML


@dataclass(frozen=True)
class _Specification:
    """The measuring conditions that values refer to by name."""

    white: tuple[str, int] | None = None
    start: str = ""
    step: str = ""
    conditions: dict[str, str] = field(default_factory=dict)
    told: str = ""


def looks_like(data: bytes) -> bool:
    """Whether a file is XML."""
    head = data[:400].replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \r\n\t")
    return head.startswith(b"<")


def grids(data: bytes, name: str) -> list[Grid]:
    """Spectra and CIELAB values of a CxF3 file, one grid each kind and condition.

    Raises
    ------
    InputError
        If the XML is damaged or unsafe, isn't CxF3, or holds neither spectra nor CIELAB.
    """
    root = _parse(data, name)
    if _local(root) != "CxF":
        raise InputError(
            f"{name}: the XML's first element is {_local(root)!r}, where 'CxF' was expected. "
            "Export the measurements as CxF3."
        )
    specifications = defaultdict(_Specification)
    for node in _all(root, "ColorSpecification"):
        specifications[node.get("Id", "")] = _specification(node)
    nodes = list(_all(root, "Object"))
    objects = list(zip(range(1, len(nodes) + 1), _labels(nodes), nodes, strict=True))
    found = [*_spectra(objects, specifications, name), *_labs(objects, specifications)]
    if not found:
        raise InputError(
            f"{name}: {len(objects)} objects, but no ReflectanceSpectrum, ColorCIELab or "
            f"ColorCIEXYZ among them{_instead(root)}. Export the file with spectra or CIELAB."
        )
    return found


def _parse(data: bytes, name: str) -> Element:
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        return _shallow(fromstring(data, forbid_dtd=True), name)
    except DefusedXmlException:
        raise InputError(
            f"{name}: the XML has a document type or entities, which measurements don't need and "
            "which can do harm. Export it as plain CxF3."
        ) from None
    except ParseError as error:
        raise InputError(
            f"{name} line {error.position[0]}: the XML is damaged or breaks off ({error}). "
            "Copy or export the whole file again."
        ) from None
    except (LookupError, ValueError) as error:
        raise InputError(f"{name}: the XML's encoding can't be read ({error}).") from None


def _shallow(root: Element, name: str) -> Element:
    """The XML, if nothing in it is nested deeper than `limits.DEPTH`."""
    level, depth = [root], 0
    while level:
        limits.check(depth, limits.DEPTH, "levels of elements within elements", name)
        level, depth = [child for node in level for child in node], depth + 1
    return root


def _local(node: Element) -> str:
    return node.tag.rsplit("}", 1)[-1] if isinstance(node.tag, str) else ""


def _all(node: Element, tag: str) -> list[Element]:
    return [child for child in node.iter() if _local(child) == tag]


def _text(node: Element, tag: str) -> str:
    return next(((child.text or "").strip() for child in node.iter() if _local(child) == tag), "")


def _specification(node: Element) -> _Specification:
    illuminant = illuminant_in(_text(node, "Illuminant"))
    observer = observer_in(_text(node, "Observer"))
    span = next(iter(_all(node, "WavelengthRange")), None)
    return _Specification(
        (illuminant, observer) if illuminant and observer else None,
        span.get("StartWL", "") if span is not None else "",
        span.get("Increment", "") if span is not None else "",
        _conditions(node),
        _text(node, "MeasurementType"),
    )


def _conditions(node: Element) -> dict[str, str]:
    """How it was read: every element that says so, the angles put together."""
    stated = [(_local(child), f"{_local(child)} {child.text or ''}") for child in node.iter()]
    angles = [_text(node, "IlluminationAngle"), _text(node, "MeasurementAngle")]
    if all(map(_is_number, angles)):
        stated.insert(0, ("geometry", "/".join(f"{float(angle):g}" for angle in angles)))
    elif any("sphere" in key.lower() or "diffuse" in key.lower() for key, _ in stated):
        stated.insert(0, ("geometry", "d/8"))
    kept = ("geometry", "specular", "illumination", "filter", "aperture", "backing", "condition")
    told = [(k, v) for k, v in stated if any(word in k.lower() for word in kept)]
    found = conditions([("geometry" if "specular" in k.lower() else k, v) for k, v in told])
    if _text(node, "DevicePolarization").lower() == "true":
        found["m_condition"] = "M3"
    return found


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _labels(objects: list[Element]) -> list[str]:
    """What each object is called: its name, with its Id behind where names repeat."""
    numbered = enumerate(objects, 1)
    names = [(node.get("Name") or node.get("Id") or str(n)).strip() for n, node in numbered]
    ids = [node.get("Id", "") for node in objects]
    again, own = Counter(names), Counter(ids)
    both = zip(names, ids, strict=True)
    return [f"{n} ({i})" if again[n] > 1 and own[i] == 1 else n for n, i in both]


def _spectra(
    objects: list[_Object], specifications: dict[str, _Specification], name: str
) -> list[Grid]:
    """One grid for each condition of measurement, so that no wavelengths are forced on others."""
    groups: dict[tuple, list[_Object]] = {}
    for number, label, node in objects:
        for spectrum in _all(node, "ReflectanceSpectrum"):
            condition = spectrum.get("ColorSpecification", "")
            specification = specifications[condition]
            start = spectrum.get("StartWL") or specification.start
            step = spectrum.get("Increment") or specification.step
            _need_range(start, step, name, number, label)
            key = (float(start), float(step), condition)
            groups.setdefault(key, []).append((number, label, spectrum))
    return [_grid(key, members, specifications[key[2]], name) for key, members in groups.items()]


def _grid(key: tuple, members: list[_Object], how: _Specification, name: str) -> Grid:
    """Spectra of one condition; those with another count of values than the most are faulty."""
    start, step, condition = key
    rows = [(number, label, (node.text or "").split()) for number, label, node in members]
    count = Counter(len(values) for _, _, values in rows).most_common(1)[0][0]
    limits.check(count, limits.COLUMNS, "values in a spectrum", name)
    good = [row for row in rows if len(row[2]) == count]
    expected = f"where the others of this condition have {count}"
    remedy = "Is the file cut? Export this measurement again."
    faults = [
        fault(name, number, "", f"{len(values)} values", expected, remedy, label, "object")
        for number, label, values in rows
        if len(values) != count
    ]
    bands = [f"nm{start + i * step:g}" for i in range(count)]
    frame = pd.DataFrame([row[2] for row in good], columns=bands, dtype=str)
    frame.insert(0, "sample", [row[1] for row in good])
    return Grid(
        frame,
        [row[0] for row in good],
        scale="factor",
        conditions=how.conditions or ({"geometry": condition} if condition else {}),
        told=(how.told,),
        faults=tuple(faults),
        row_word="object",
    )


def _need_range(start: str, step: str, name: str, number: int, label: str) -> None:
    if not (_is_number(start) and _is_number(step) and float(step) > 0):
        raise InputError(
            f"{name} object {number} ({label}): the spectrum's first wavelength is {start!r} and "
            f"its step {step!r}. Expected StartWL, and Increment in its ColorSpecification: "
            "export the file with the wavelength range."
        )


def _labs(objects: list[_Object], specifications: dict[str, _Specification]) -> list[Grid]:
    """CIELAB, or else XYZ, of every object: one grid each condition."""
    for tag, parts in (("ColorCIELab", "LAB"), ("ColorCIEXYZ", "XYZ")):
        groups: dict[str, list[tuple[int, list[str]]]] = {}
        for number, label, node in objects:
            for value in _all(node, tag):
                condition = value.get("ColorSpecification", "")
                white = specifications[condition].white or ("", "")
                cells = [label, *(_text(value, part) for part in parts), white[0], str(white[1])]
                groups.setdefault(condition, []).append((number, cells))
        if groups:
            names = ["sample", *(parts if tag.endswith("XYZ") else "Lab"), "illuminant", "observer"]
            return [_values(rows, names, specifications[how]) for how, rows in groups.items()]
    return []


def _values(rows: list[tuple[int, list[str]]], names: list[str], how: _Specification) -> Grid:
    frame = pd.DataFrame([cells for _, cells in rows], columns=names, dtype=str)
    numbers = [number for number, _ in rows]
    return Grid(frame, numbers, conditions=how.conditions, told=(how.told,), row_word="object")


def _instead(root: Element) -> str:
    """What the file holds that is no reflectance, in words."""
    kinds = {_local(node) for node in root.iter()}
    other = sorted(k for k in kinds if k.endswith("Spectrum") or "Emissi" in k or "Transm" in k)
    return f" (but {', '.join(other)}, which is not reflectance)" if other else ""
