"""CxF3 / ISO 17972-1 XML, through a hardened parser."""

from dataclasses import dataclass
from xml.etree.ElementTree import Element, ParseError

import pandas as pd

from dyelab.errors import InputError
from dyelab.read.grid import Grid, illuminant_in, observer_in


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
    objects = list(_all(root, "Object"))
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


def _label(node: Element, number: int) -> str:
    return (node.get("Name") or node.get("Id") or str(number)).strip()


def _spectra(
    objects: list[Element], specifications: dict[str, _Specification], name: str
) -> list[Grid]:
    """One grid for each set of wavelengths, so that none is forced onto another."""
    groups: dict[tuple, list] = {}
    several = 0
    for number, node in enumerate(objects, 1):
        spectra = _all(node, "ReflectanceSpectrum")
        several += len(spectra) > 1
        if spectra:
            specification = specifications.get(
                spectra[0].get("ColorSpecification", ""), _Specification()
            )
            start = spectra[0].get("StartWL") or specification.start
            step = spectra[0].get("Increment") or specification.step
            label, values = _label(node, number), (spectra[0].text or "").split()
            _need_range(start, step, name, number, label)
            key = (float(start), float(step), len(values), specification.white)
            groups.setdefault(key, []).append((number, label, values, specification.geometry))
    note = f"{several} objects hold several spectra: the first of each was read"
    return [
        Grid(
            _frame(key, members),
            [member[0] for member in members],
            white=key[3],
            scale="factor",
            geometry=members[0][3],
            notes=(note,) if several and i == 0 else (),
            row_word="object",
        )
        for i, (key, members) in enumerate(groups.items())
    ]


def _need_range(start: str, step: str, name: str, number: int, label: str) -> None:
    if not (_is_number(start) and _is_number(step) and float(step) > 0):
        raise InputError(
            f"{name} object {number} ({label}): the spectrum's first wavelength is {start!r} and "
            f"its step {step!r}. Expected StartWL, and Increment in its ColorSpecification: "
            "export the file with the wavelength range."
        )


def _frame(key: tuple, members: list) -> pd.DataFrame:
    start, step, count = key[:3]
    bands = [f"nm{start + i * step:g}" for i in range(count)]
    frame = pd.DataFrame([member[2] for member in members], columns=bands, dtype=str)
    frame.insert(0, "sample", [member[1] for member in members])
    return frame


def _labs(objects: list[Element], specifications: dict[str, _Specification]) -> list[Grid]:
    rows, numbers = [], []
    for number, node in enumerate(objects, 1):
        for value in _all(node, "ColorCIELab")[:1]:
            specification = specifications.get(
                value.get("ColorSpecification", ""), _Specification()
            )
            white = specification.white or ("", "")
            lab = [_text(value, part) for part in "LAB"]
            rows.append([_label(node, number), *lab, white[0], str(white[1])])
            numbers.append(number)
    if not rows:
        return []
    columns = ["sample", "L", "a", "b", "illuminant", "observer"]
    return [Grid(pd.DataFrame(rows, columns=columns, dtype=str), numbers, row_word="object")]
