"""Everything that reads what somebody else wrote: a sound input, and what is done with it."""

import io
import json
import shutil
import zipfile
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from PIL import Image, ImageCms

from dyelab import book, calibrate, card, files, handout, read, recipe, table
from dyelab.handout import page as parts
from dyelab.panel import save

RNG = np.random.default_rng(2)
STUDIO = files.shipped_path("data", "studio")


def measurements(name):
    """Read a measurement file, both strictly and leaving bad rows out."""

    def run(content, folder):
        path = folder / name
        path.write_bytes(content)
        for skip in (True, False):
            read.measurements(path, skip_bad=skip)

    return run


def picture(name):
    def run(content, folder):
        read.photo(content, name=name)

    return run


def in_book(name):
    """Open, check and export a book one of whose files is damaged."""

    def run(content, folder):
        path = folder / "b"
        if not path.exists():
            shutil.copytree(folder / "sound", path)
        whole = (path / name).read_bytes()
        try:
            (path / name).write_bytes(content)
            bk = book.open(path)
            book.check(path)
            book.history(path)
            book.wide(bk)
        finally:
            (path / name).write_bytes(whole)

    return run


def restored(name):
    def run(content, folder):
        (folder / name).write_bytes(content)
        shutil.rmtree(folder / "made", ignore_errors=True)
        book.restore(folder / name, folder / "made")

    return run


def spreadsheet(name):
    def run(content, folder):
        (folder / name).write_bytes(content)
        frame = book.sheet(folder / name)
        book.matches(frame)

    return run


def layout(content, folder):
    (folder / "card.json").write_bytes(content)
    card.read_layout(folder / "card.json")


def target(content, folder):
    (folder / "target.txt").write_bytes(content)
    calibrate.reference(folder / "target.txt")


def kept_calibration(content, folder):
    (folder / "kept.json").write_bytes(content)
    calibrate.read_calibration(folder / "kept.json")


def cells(content, folder):
    (folder / "t.csv").write_bytes(content)
    files.cells(folder / "t.csv")


def formula(content, folder):
    text = content.decode("utf-8", "replace")
    recipe.molar_mass(text)
    recipe.metal_percent(text, "Al")


def typed(content, folder):
    text = content.decode("utf-8", "replace")
    table.number_list(text)


def words(content, folder):
    text = content.decode("utf-8", "replace")
    frame = pd.DataFrame(
        [[50.0, 10.0, 10.0, "D65", 10]], columns=[*"Lab", "illuminant", "observer"]
    )
    shown = pd.DataFrame({text[:20] or "x": [text], "n": [1.0]})
    made = parts.Page(
        title=text,
        blocks=(
            parts.Heading(text),
            parts.Text(text),
            parts.Chips(tuple(parts.patches(frame, [text], [text]))),
            parts.number_table(shown, text),
        ),
    )
    handout.write(made, folder / "page.pdf")
    handout.write(made, folder / "page.html")


def upload(content, folder):
    name = content.decode("utf-8", "replace")
    kept = save.keep_upload(({"name": name, "content": b"x"},), "fuzz")
    assert kept.parent.name == "fuzz"
    kept.unlink()


def _picture(form, **how):
    light = cv2.resize(RNG.integers(20, 230, (30, 40, 3), np.uint8), (220, 210))
    file = io.BytesIO()
    Image.fromarray(light).save(file, form, **how)
    return file.getvalue()


def _deep(ending):
    light = cv2.resize(RNG.integers(20, 230, (30, 40, 3), np.uint8), (220, 210))
    return cv2.imencode(ending, light.astype(np.uint16) * 257)[1].tobytes()


def _workbook():
    file = io.BytesIO()
    frame = pd.DataFrame({"sample": ["a", "b"], "L": [50, 60], "a": [1, 2], "b": [3.5, 4]})
    frame.assign(illuminant="D65", observer=10).to_excel(file, index=False)
    return file.getvalue()


def _repacked(content):
    """The same zip, its parts stored plain, so that damage reaches what they hold."""
    file = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as new,
    ):
        for name in old.namelist():
            new.writestr(name, old.read(name))
    return file.getvalue()


def _sound(folder):
    """A small book with all kinds of tables, and its exports."""
    bk = book.create(folder / "sound")
    example = book.open(files.shipped_path("data", "marlpit_yard"))
    codes = list(example.swatches["swatch"][:3])
    rows = {
        name: frame[frame["swatch"].isin(codes)]
        for name, frame in book.tables(example).items()
        if "swatch" in frame and name != "photos"
    }
    readings = set(rows["readings"]["reading"])
    for name in ("spectra", "shared"):
        frame = getattr(example, name)
        rows[name] = frame[frame["reading"].isin(readings)]
    rows["tests"] = example.tests
    bk = book.save(book.add(bk, **{name: frame for name, frame in rows.items() if len(frame)}))
    book.export(bk, folder / "sound.zip")
    book.export(bk, folder / "sound.xlsx")
    return bk


def targets(folder: Path):
    """Return name, sound input and what to do with it, for every reader."""
    _sound(folder)
    sound = folder / "sound"
    csv = b"sample,L,a,b,illuminant,observer\nK-01,50.1,2.5,-3,D65,10\nK-02,51,2,3,D65,10\n"
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    cgats = (STUDIO / "wool_as_dyed.txt").read_bytes()[:6000]
    cxf = (STUDIO / "cotton_as_dyed.cxf").read_bytes()
    found = {
        "csv": (csv, measurements("a.csv")),
        "tsv": (csv.replace(b",", b"\t"), measurements("a.tsv")),
        "cgats": (cgats, measurements("a.txt")),
        "cxf": (cxf[:20_000] + cxf[-200:] if len(cxf) > 20_200 else cxf, measurements("a.cxf")),
        "whole cxf": (cxf, measurements("b.cxf")),
        "xlsx": (_repacked(_workbook()), measurements("a.xlsx")),
        "png": (_picture("png", icc_profile=srgb, compress_level=0), picture("a.png")),
        "png 16": (_deep(".png"), picture("a.png")),
        "jpeg": (_picture("jpeg", icc_profile=srgb, quality=80), picture("a.jpg")),
        "tiff": (_picture("tiff", icc_profile=srgb), picture("a.tif")),
        "tiff 16": (_deep(".tiff"), picture("a.tif")),
        "zip": (_repacked((folder / "sound.zip").read_bytes()), restored("r.zip")),
        "book xlsx": (_repacked((folder / "sound.xlsx").read_bytes()), restored("r.xlsx")),
        "sheet csv": (csv, spreadsheet("s.csv")),
        "sheet xlsx": (_repacked(_workbook()), spreadsheet("s.xlsx")),
        "layout": (json.dumps(_layout(folder)).encode(), layout),
        "target": (_target(), target),
        "calibration": (_calibration(), kept_calibration),
        "cells": (csv, cells),
        "formula": (b"KAl(SO4)2\xc2\xb712H2O", formula),
        "numbers": (b"0 2,5; 1.5E-3, 4", typed),
        "page text": (b"Krapp 20 %, *Eisen* #2 $x$\r\n" * 3, words),
        "upload": (b"../photos/IMG 1.JPG", upload),
    }
    for form in ("heif", "avif"):
        try:
            if form == "heif":
                import pillow_heif

                pillow_heif.register_heif_opener()
            found[form] = (_picture(form), picture(f"a.{form}"))
        except (ImportError, OSError, KeyError):
            continue
    inside = [*sound.glob("*.csv"), sound / "datapackage.json", *sound.glob("history/*.json")]
    for path in inside:
        name = path.relative_to(sound).as_posix()
        found[f"book {name}"] = (path.read_bytes(), in_book(name))
    return found


def _layout(folder):
    path = folder / "layout.json"
    card.write_layout(card.layout(), path)
    return json.loads(path.read_text("utf-8"))


def _target():
    lines = ["sample,L,a,b,illuminant,observer"]
    lab = calibrate.reference("average").lab
    lines += [f"{i + 1},{L:.2f},{a:.2f},{b:.2f},D65,10" for i, (L, a, b) in enumerate(lab)]
    return "\n".join(lines).encode()


def _calibration():
    return json.dumps(
        {
            "dyelab": "calibration 1",
            "method": "linear",
            "white": ["D65", 10],
            "tone": [0.0, 0.0, 0.0],
            "degree": 1,
            "matrix": np.eye(3).tolist(),
            "errors": {"lab": [[1, 2, 3]], "off": [[0.1, 0.1, 0.1]], "scale": 1.0},
            "patches": {"L": [1.0]},
            "witnesses": [[0.1, 0.2, 0.3]],
            "flags": [],
            "anchors": None,
        }
    ).encode()
