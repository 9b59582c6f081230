"""Spectra as instruments hand them over: CGATS text, CxF3 XML, CSV and spreadsheet tables."""

import io
import re
import zipfile
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import pandas as pd

from dyelab import files

_NAME = "Invented data: no cloth was measured"


def _bands(spectra: pd.DataFrame) -> list[str]:
    return [name for name in spectra.columns if name != "reading"]


def write_cgats(spectra: pd.DataFrame, path: str | Path) -> None:
    """Write reflectance factors as CGATS.17 text (ISO 28178), tabs between the fields.

    Parameters
    ----------
    spectra : DataFrame
        `reading` and one column a wavelength, named by the number in nm.
    path : str or Path
    """
    bands = _bands(spectra)
    rows = ["\t".join([row[0], *(f"{x:.5f}" for x in row[1:])]) for row in spectra.to_numpy()]
    head = [
        "CGATS.17",
        f'ORIGINATOR "{_NAME}"',
        'DESCRIPTOR "Marlpit Yard, an invented studio"',
        'CREATED "2025-09-30"',
        'MEASUREMENT_GEOMETRY "45/0"',
        'MEASUREMENT_SOURCE "Illumination=D65 ObserverAngle=10 WhiteBase=Abs Filter=No"',
        f"NUMBER_OF_FIELDS {len(bands) + 1}",
        "BEGIN_DATA_FORMAT",
        "\t".join(["SAMPLE_ID", *(f"SPECTRAL_NM{band}" for band in bands)]),
        "END_DATA_FORMAT",
        f"NUMBER_OF_SETS {len(rows)}",
        "BEGIN_DATA",
    ]
    with files.whole(path) as file:
        file.write("\n".join([*head, *rows, "END_DATA", ""]))


def write_cxf(spectra: pd.DataFrame, path: str | Path) -> None:
    """Write reflectance factors as CxF3 (ISO 17972-1); `spectra` as for `write_cgats`."""
    bands = _bands(spectra)
    step = int(float(bands[1]) - float(bands[0]))
    objects = "\n".join(_cxf_object(row, bands[0]) for row in spectra.to_numpy())
    with files.whole(path) as file:
        file.write(_CXF.format(name=escape(_NAME), objects=objects, start=bands[0], step=step))


def _cxf_object(row, start: str) -> str:
    name = quoteattr(str(row[0]))
    values = " ".join(f"{x:.5f}" for x in row[1:])
    return (
        f'<cc:Object ObjectType="Standard" Name={name} Id={name}>'
        "<cc:CreationDate>2025-09-30T09:00:00Z</cc:CreationDate><cc:ColorValues>"
        f'<cc:ReflectanceSpectrum ColorSpecification="spectral" StartWL="{start}">{values}'
        "</cc:ReflectanceSpectrum></cc:ColorValues></cc:Object>"
    )


_CXF = """<?xml version="1.0" encoding="UTF-8"?>
<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core">
<cc:FileInformation>
<cc:Creator>dyelab</cc:Creator>
<cc:CreationDate>2025-09-30T09:00:00Z</cc:CreationDate>
<cc:Description>{name}</cc:Description>
</cc:FileInformation>
<cc:Resources>
<cc:ObjectCollection>
{objects}
</cc:ObjectCollection>
<cc:ColorSpecificationCollection>
<cc:ColorSpecification Id="spectral">
<cc:MeasurementSpec>
<cc:MeasurementType>Spectrum_Reflectance</cc:MeasurementType>
<cc:GeometryChoice><cc:SingleAngle>
<cc:SingleAngleConfiguration>Annular</cc:SingleAngleConfiguration>
<cc:IlluminationAngle>45</cc:IlluminationAngle><cc:MeasurementAngle>0</cc:MeasurementAngle>
</cc:SingleAngle></cc:GeometryChoice>
<cc:WavelengthRange StartWL="{start}" Increment="{step}"/>
</cc:MeasurementSpec>
</cc:ColorSpecification>
</cc:ColorSpecificationCollection>
</cc:Resources>
</cc:CxF>
"""


def percent(spectra: pd.DataFrame) -> pd.DataFrame:
    """Reflectance in per cent under headings such as ``400 nm``, as spreadsheets have it."""
    bands = _bands(spectra)
    scaled = (spectra[bands] * 100).round(3).rename(columns={b: f"{b} nm" for b in bands})
    return pd.concat([spectra["reading"].rename("sample"), scaled], axis=1)


def write_csv(frame: pd.DataFrame, path: str | Path) -> None:
    """Write a table as UTF-8 CSV."""
    with files.whole(path) as file:
        frame.to_csv(file, index=False, lineterminator="\n")


def write_xlsx(frame: pd.DataFrame, path: str | Path, sheet: str) -> None:
    """Write a table as a one-sheet workbook that comes out the same on any day."""
    held = io.BytesIO()
    frame.to_excel(held, sheet_name=sheet, index=False, engine="openpyxl")
    with (
        files.whole(path, binary=True) as file,
        zipfile.ZipFile(held) as old,
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for item in old.infolist():
            content = old.read(item)
            if item.filename == "docProps/core.xml":
                content = re.sub(rb"\d{4}-\d\d-\d\dT[\d:]+Z", b"2025-09-30T09:00:00Z", content)
            new.writestr(zipfile.ZipInfo(item.filename), content, zipfile.ZIP_DEFLATED)
