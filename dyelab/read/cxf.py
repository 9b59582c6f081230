"""CxF3 / ISO 17972-1 XML, through a hardened parser."""

from collections import Counter
from dataclasses import dataclass, replace
from xml.etree.ElementTree import Element, ParseError

import pandas as pd

from dyelab.errors import InputError
from dyelab.read.grid import Grid, illuminant_in, observer_in
from dyelab.table import fault

_Object = tuple[int, str, Element]  # place in the file, what it is called, its XML


@dataclass(frozen=True)
class _Specification:
    """The measuring conditions that values refer to by name."""

    white: tuple[str, int] | None = None
    start: str = ""
    step: str = ""
    geometry: str = ""


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
    root = _parsed(data, name)
    if _local(root) != "CxF":
        raise InputError(
            f"{name}: the XML's first element is {_local(root)!r}, where 'CxF' was expected. "
            "Export the measurements as CxF3."
        )
    specifications = {
        node.get("Id", ""): _specification(node) for node in _all(root, "ColorSpecification")
    }
    nodes = list(_all(root, "Object"))
    objects = list(zip(range(1, len(nodes) + 1), _labels(nodes), nodes, strict=True))
    found = [*_spectra(objects, specifications, name), *_labs(objects, specifications)]
    if not found:
        raise InputError(
            f"{name}: {len(objects)} objects, but no ReflectanceSpectrum or ColorCIELab among "
            "them. Export the file with spectra or CIELAB."
        )
    return found


def _parsed(data: bytes, name: str) -> Element:
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        return fromstring(data, forbid_dtd=True)
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
    angles = [_text(node, "IlluminationAngle"), _text(node, "MeasurementAngle")]
    return _Specification(
        (illuminant, observer) if illuminant and observer else None,
        span.get("StartWL", "") if span is not None else "",
        span.get("Increment", "") if span is not None else "",
        "/".join(f"{float(angle):g}" for angle in angles) if all(map(_is_number, angles)) else "",
    )


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _labels(objects: list[Element]) -> list[str]:
    """What each object is called: its name, with its Id behind where names repeat."""
    names = [
        (node.get("Name") or node.get("Id") or str(number)).strip()
        for number, node in enumerate(objects, 1)
    ]
    counts, ids = Counter(names), Counter(node.get("Id", "") for node in objects)
    return [
        f"{name} ({node.get('Id')})" if counts[name] > 1 and ids[node.get("Id", "")] == 1 else name
        for name, node in zip(names, objects, strict=True)
    ]


def _spectra(
    objects: list[_Object], specifications: dict[str, _Specification], name: str
) -> list[Grid]:
    """One grid for each condition of measurement, so that no wavelengths are forced on others."""
    groups: dict[tuple, list[_Object]] = {}
    several = 0
    for number, label, node in objects:
        spectra = _all(node, "ReflectanceSpectrum")
        several += len(spectra) > 1
        for spectrum in spectra[:1]:
            condition = spectrum.get("ColorSpecification", "")
            specification = specifications.get(condition, _Specification())
            start = spectrum.get("StartWL") or specification.start
            step = spectrum.get("Increment") or specification.step
            _need_range(start, step, name, number, label)
            key = (float(start), float(step), condition, specification.geometry)
            groups.setdefault(key, []).append((number, label, spectrum))
    found = [_grid(key, members, name) for key, members in groups.items()]
    note = f"{several} objects hold several spectra: the first of each was read"
    return [replace(grid, notes=(note,) if several else ()) for grid in found]


def _grid(key: tuple, members: list[_Object], name: str) -> Grid:
    """Spectra of one condition; those with another count of values than the most are faulty."""
    start, step, _, geometry = key
    rows = [(number, label, (node.text or "").split()) for number, label, node in members]
    count = Counter(len(values) for _, _, values in rows).most_common(1)[0][0]
    good = [row for row in rows if len(row[2]) == count]
    faults = [
        fault(
            name,
            number,
            "",
            f"{len(values)} values",
            f"where the others of this condition have {count}",
            "Is the file cut? Export this measurement again.",
            label,
            "object",
        )
        for number, label, values in rows
        if len(values) != count
    ]
    bands = [f"nm{start + i * step:g}" for i in range(count)]
    frame = pd.DataFrame([row[2] for row in good], columns=bands, dtype=str)
    frame.insert(0, "sample", [row[1] for row in good])
    numbers = [row[0] for row in good]
    return Grid(
        frame, numbers, scale="factor", geometry=geometry, faults=tuple(faults), row_word="object"
    )


def _need_range(start: str, step: str, name: str, number: int, label: str) -> None:
    if not (_is_number(start) and _is_number(step) and float(step) > 0):
        raise InputError(
            f"{name} object {number} ({label}): the spectrum's first wavelength is {start!r} and "
            f"its step {step!r}. Expected StartWL, and Increment in its ColorSpecification: "
            "export the file with the wavelength range."
        )


def _labs(objects: list[_Object], specifications: dict[str, _Specification]) -> list[Grid]:
    rows, numbers = [], []
    for number, label, node in objects:
        for value in _all(node, "ColorCIELab")[:1]:
            specification = specifications.get(
                value.get("ColorSpecification", ""), _Specification()
            )
            white = specification.white or ("", "")
            lab = [_text(value, part) for part in "LAB"]
            rows.append([label, *lab, white[0], str(white[1])])
            numbers.append(number)
    if not rows:
        return []
    columns = ["sample", "L", "a", "b", "illuminant", "observer"]
    return [Grid(pd.DataFrame(rows, columns=columns, dtype=str), numbers, row_word="object")]
