"""Spreadsheets as dyers keep them, all invented, each with what its writer meant.

The first three (`FRESH`) were laid out before the code that reads them was looked at; the twelve
of `LAID_OUT` were made to differ: three locales, a row a swatch, a step or a reading, merged
cells, dates, two sheets, ODS.
"""

from dataclasses import dataclass, field

import pandas as pd
from openpyxl import Workbook


@dataclass
class Meant:
    """What a sheet's writer meant: recipes in words, fields, readings, and what can't come in."""

    recipes: dict
    fields: dict = field(default_factory=dict)  # (swatch, column): value
    steps: dict = field(default_factory=dict)  # (swatch, order, column): value
    readings: list = field(default_factory=list)  # (swatch, area, exposure, amount, L, a, b)
    lost: list = field(default_factory=list)  # how each line of the list begins
    answers: dict = field(default_factory=dict)
    white: tuple | None = None


def workbook(path, sheets, merged=()):
    """Write a workbook; `merged` are (sheet, range)."""
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    for name, cells in merged:
        book[name].merge_cells(cells)
    book.save(path)
    return path


def text(path, content, encoding="utf-8"):
    path.write_bytes(content.encode(encoding))
    return path


# Laid out without a look at the code ------------------------------------------------------------


def notebook_page(folder):
    rows = [
        ["Marlpit Yard, winter tests"],
        [],
        ["Tag", "Cloth", "Weight (g)", "Gallnut", "Alum", "Cream of tartar", "Dyestuff", "Dye (g)",
         "After-dip", "Notes"],
        ["T1", "Wool", 5, None, "15%", "6 %", "weld", 2.5, None, "windy day"],
        ["T2", "Wool", 5, None, "15%", "6 %", "weld", 2.5, "iron 2%", None],
        ["T3", "Cotton", 4, "8%", "12%", None, "madder", 4, None, "patchy, dye again"],
        ["T4", "Cotton", 4, "8%", "12%", None, "madder", 4, "iron 1%", None],
        ["Total", None, 18],
    ]  # fmt: skip
    meant = Meant(
        {
            "T1": "wool, potash alum 15 % with cream of tartar 6 %, weld 2.5 g",
            "T2": "wool, potash alum 15 % with cream of tartar 6 %, weld 2.5 g, "
            "ferrous sulfate 2 %",
            "T3": "cotton, gallnut 8 %, potash alum 12 %, madder 4 g",
            "T4": "cotton, gallnut 8 %, potash alum 12 %, madder 4 g, ferrous sulfate 1 %",
        },
        {("T1", "mass_g"): 5.0, ("T3", "note"): "patchy, dye again"},
        lost=["row 1", "row 8"],
    )
    return workbook(folder / "winter.xlsx", {"tests": rows}), meant


def step_log(folder):
    content = """Datum;Probe;Arbeitsgang;Mittel;Menge;Einheit;Temp.;Dauer;Bad
03.02.2026;L1;Beizen;Alaun;15;%;85 °C;60 min;B1
03.02.2026;L2;Beizen;Alaun;12,5;%;85 °C;60 min;B2
04.02.2026;L1;Färben;Reseda;50;%;80 °C;1 h;F1
04.02.2026;L2;Färben;Krapp;50;%;65 °C;1 h;F2
05.02.2026;L1;Küpe;Indigo, 3 Züge;;;40 °C;5 min;K1
05.02.2026;L2;Nachbad;Eisen;1,5;%;40 °C;10 min;N1
"""
    meant = Meant(
        {
            "L1": "potash alum 15 %, weld 50 %, indigo in 3 dips",
            "L2": "potash alum 12.5 %, madder 50 %, ferrous sulfate 1.5 %",
        },
        {("L1", "made_on"): "2026-02-03"},
        {
            ("L1", 1, "temperature_C"): 85.0,
            ("L1", 2, "minutes"): 60.0,
            ("L1", 3, "kind"): "vat",
            ("L1", 3, "bath"): "K1",
            ("L2", 3, "kind"): "modifier",
            ("L2", 2, "temperature_C"): 65.0,
        },
        lost=["cell A4", "cell A5", "cell A6", "cell A7"],
    )
    return text(folder / "Protokoll.csv", content), meant


def two_sheets_in_ods(folder):
    path = folder / "colours.ods"
    swatches = pd.DataFrame(
        {
            "no.": [1, 2],
            "fabric": ["silk", "linen"],
            "recipe": ["alum 12%, madder 40%, iron 1%", "tara 8 then alum acetate 6, weld 30"],
        }
    )
    colour = pd.DataFrame(
        [
            (1, "new", 42.5, 20.25, 12, 0.3),
            (1, "after 5 washes", 45, 17, 11, 0.3),
            (1, "20 h light", 47, 15.5, 10, 0.4),
            (2, "new", 70, 2, 48.5, 0.3),
        ],
        columns=["no.", "when", "L*", "a*", "b*", "±"],
    )
    with pd.ExcelWriter(path, engine="odf") as writer:
        swatches.to_excel(writer, sheet_name="Swatches", index=False)
        colour.to_excel(writer, sheet_name="Colour", index=False)
    meant = Meant(
        {
            "1": "silk, potash alum 12 %, madder 40 %, ferrous sulfate 1 %",
            "2": "linen, tara 8 %, aluminium acetate 6 %, weld 30 %",
        },
        readings=[
            ("1", "whole", "none", None, 42.5, 20.25, 12),
            ("1", "whole", "wash", 5, 45, 17, 11),
            ("1", "whole", "light", 20, 47, 15.5, 10),
            ("2", "whole", "none", None, 70, 2, 48.5),
        ],
        answers={"alum acetate": "aluminium acetate"},
        white=("D65", 10),
    )
    return path, meant


FRESH = [notebook_page, step_log, two_sheets_in_ods]

# Kept as other dyers might, each in a way that none of the above has ------------------------------


def spanish(folder):
    """Units in cells, days in words, washes counted, readings on a second sheet."""
    swatches = [
        ["Muestrario de la primavera"],
        ["Muestra", "Fibra", "Peso", "Mordiente", "Tinte", "Modificador", "Fecha", "Observaciones"],
        ["E1", "lana", "5 g", "alumbre 15 % + crémor tártaro 6 %", "gualda 50 %", None,
         "3 de marzo de 2026", "soleado"],
        ["E2", "algodón", "4,5 g", "agallas 8 %; acetato de aluminio 6 %", "rubia 40 %",
         "hierro 1,5 %", "4 de marzo de 2026", None],
        ["E3", "seda", "3 g", "sin mordiente", "cochinilla 5 %", None, "5/3/2026", None],
    ]  # fmt: skip
    colours = [
        ["Muestra", "Lavados", "L*", "a*", "b*", "Iluminante", "Observador"],
        ["E1", 0, 70.5, -5.75, 50.5, "D65", "10°"],
        ["E1", 5, 71.75, -4.5, 44.5, "D65", "10°"],
        ["E3", "ninguno", 36, 44.5, -2.25, "D65", 10],
    ]
    meant = Meant(
        {
            "E1": "wool, potash alum 15 % with cream of tartar 6 %, weld 50 %",
            "E2": "cotton, gallnut 8 %, aluminium acetate 6 %, madder 40 %, ferrous sulfate 1.5 %",
            "E3": "silk, cochineal 5 %",
        },
        {
            ("E1", "made_on"): "2026-03-03",
            ("E2", "mass_g"): 4.5,
            ("E3", "made_on"): "2026-03-05",
        },
        {("E2", 1, "kind"): "tannin"},
        [
            ("E1", "whole", "none", None, 70.5, -5.75, 50.5),
            ("E1", "whole", "wash", 5, 71.75, -4.5, 44.5),
            ("E3", "whole", "none", None, 36, 44.5, -2.25),
        ],
        lost=["Muestras, row 1"],
    )
    path = folder / "muestrario.xlsx"
    return workbook(path, {"Muestras": swatches, "Medidas": colours}), meant


def steps_in_words(folder):
    """A column a step, in free words with heat and time; the cloth in words too."""
    content = """Ref,What it is,Step 1,Step 2,Process,Step 4,Finished
Q1,merino yarn 10 g,scoured with neutral soap 2%,"alum 15% with cream of tartar 5%, 1 h at 85 °C","weld 60%, 45 mins at 80 °C",,Tues 3rd March 2026
Q2,merino yarn 10 g,scoured with neutral soap 2%,"alum 15% with cream of tartar 5%, 1 h at 85 °C","weld 60%, 45 mins at 80 °C","iron 2%, 10 min",Wed 4th March 2026
Q3,merino yarn 10 g,scoured with neutral soap 2%,,"indigo vat, 3 dips",,4 March 26
"""  # noqa: E501
    meant = Meant(
        {
            "Q1": "neutral soap 2 %, potash alum 15 % with cream of tartar 5 %, weld 60 %",
            "Q2": "neutral soap 2 %, potash alum 15 % with cream of tartar 5 %, weld 60 %, "
            "ferrous sulfate 2 %",
            "Q3": "neutral soap 2 %, indigo in 3 dips",
        },
        {("Q1", "made_on"): "2026-03-03", ("Q2", "What it is"): "merino yarn 10 g"},
        {
            ("Q1", 1, "kind"): "scour",
            ("Q1", 2, "temperature_C"): 85.0,
            ("Q1", 4, "minutes"): 45.0,
            ("Q2", 5, "minutes"): 10.0,
            ("Q3", 2, "kind"): "vat",
        },
    )
    return text(folder / "studio log.csv", content), meant


def a_sheet_a_test(folder):
    """Each test's readings on a sheet that is named after it; doses under a bare %."""
    white = "D65/10°"
    sheets = {
        "Cloths": [
            ["Code", "Fibre", "Mordant", "%", "Dye", "% "],
            ["L1", "wool", "alum", 15, "madder", 50],
            ["L2", "wool", None, None, "madder", 25],
        ],
        "Before": [
            ["Code", "L*", "a*", "b*", "White"],
            ["L1", 40.5, 35, 22, white],
            ["L2", 55, 18, 17, white],
        ],
        "After 5 washes": [
            ["Code", "L*", "a*", "b*", "White"],
            ["L1", 42.5, 33, 21, white],
            ["L2", 60, 14, 15, white],
        ],
        "light 40 h": [["Code", "L*", "a*", "b*", "White"], ["L1", 48, 28, 19, white]],
    }
    meant = Meant(
        {"L1": "wool, potash alum 15 %, madder 50 %", "L2": "wool, madder 25 %"},
        readings=[
            ("L1", "whole", "none", None, 40.5, 35, 22),
            ("L2", "whole", "none", None, 55, 18, 17),
            ("L1", "whole", "wash", 5, 42.5, 33, 21),
            ("L2", "whole", "wash", 5, 60, 14, 15),
            ("L1", "whole", "light", 40, 48, 28, 19),
        ],
    )
    return workbook(folder / "lessons.xlsx", sheets), meant


def on_its_side(folder):
    """Headings one under the other, a column a swatch; in Italian."""
    rows = [
        ["Prova", "I1", "I2", "I3"],
        ["Fibra", "lana", "lana", "cotone"],
        ["Allume %", 15, "circa 12?", None],
        ["Reseda %", 50, 50, 30],
        ["Ferro %", None, 2, 1],
        ["Data", "2026-03-01", "2026-03-01", "2026-03-02"],
        ["Note", None, "scuro", None],
    ]
    meant = Meant(
        {
            "I1": "wool, potash alum 15 %, weld 50 %",
            "I2": "wool, weld 50 %, ferrous sulfate 2 %",
            "I3": "cotton, weld 30 %, ferrous sulfate 1 %",
        },
        {("I2", "note"): "scuro", ("I3", "made_on"): "2026-03-02"},
        lost=["cell C3 (Allume %)"],
    )
    return workbook(folder / "prove.xlsx", {"Prove": rows}), meant


def dutch(folder):
    """A row a reading; what was tested stands in a column that no list of headings names."""
    content = """staal\tvezel\tbeits\tverfstof\tgedaan\tL*\ta*\tb*\tdatum meting
N1\twol\taluin 15%\twouw 50%\t-\t70,1\t-2,5\t55,0\t1 maart 2026
N1\twol\taluin 15%\twouw 50%\t5x gewassen\t71,0\t-2,0\t52,3\t8 maart 2026
N2\tkatoen\taluin 12%\tmeekrap 40%\t-\t45,2\t30,1\t18,0\t1 maart 2026
N2\tkatoen\taluin 12%\tmeekrap 40%\tlicht 20 uur\t47,0\t26,0\t17,5\t20 maart 2026
"""
    meant = Meant(
        {
            "N1": "wool, potash alum 15 %, weld 50 %",
            "N2": "cotton, potash alum 12 %, madder 40 %",
        },
        readings=[
            ("N1", "whole", "none", None, 70.1, -2.5, 55),
            ("N1", "whole", "wash", 5, 71, -2, 52.3),
            ("N2", "whole", "none", None, 45.2, 30.1, 18),
            ("N2", "whole", "light", 20, 47, 26, 17.5),
        ],
        white=("D65", 10),
    )
    return text(folder / "metingen.tsv", content), meant


def areas_and_the_whole(folder):
    """A printed cloth whose bath stands in a row of its own, and a part with nothing on it."""
    content = """Code,Fabric,Area,Mordant,Dye,Dye %
P1,cotton,,,madder,30
P1,cotton,leaf,aluminium acetate 6,,
P1,cotton,stem,aluminium acetate 6 and iron acetate 2,,
P1,cotton,sky,,,
"""
    meant = Meant(
        {
            "P1": "cotton, aluminium acetate 6 % (leaf), aluminium acetate 6 % (stem), "
            "ferrous acetate 2 % (stem), madder 30 %"
        },
        {("P1", "bare_areas"): "sky"},
    )
    return text(folder / "prints.csv", content), meant


FURTHER = [spanish, steps_in_words, a_sheet_a_test, on_its_side, dutch, areas_and_the_whole]

# Made to differ ---------------------------------------------------------------------------------


def plain(folder):
    content = """Code,Cloth,Dye,Dye % WOF,Alum %,Tannin %,Iron %
A1,Cotton,weld,50,15,8,2
A2,cotton,weld,50,0,8,2
A3,cotton,weld,50,15,,
A4,wool,madder,40,12.5,,0.5
"""
    meant = Meant(
        {
            "A1": "cotton, gallnut 8 %, aluminium acetate 15 %, weld 50 %, ferrous sulfate 2 %",
            "A2": "cotton, gallnut 8 %, weld 50 %, ferrous sulfate 2 %",
            "A3": "cotton, aluminium acetate 15 %, weld 50 %",
            "A4": "wool, aluminium acetate 12.5 %, madder 40 %, ferrous sulfate 0.5 %",
        },
        answers={"tannin": "gallnut", "alum": "aluminium acetate"},
    )
    return text(folder / "plain.csv", content), meant


def german(folder):
    content = """Proben-Nr.;Faser;Gewicht (g);Gerbstoff;Gerbstoff %;Alaun %;Weinstein %;Farbstoff;Farbstoff %;Eisen %;Datum;Bemerkung
1;Wolle;5,25;;;15;6;Färberwau;50;0;30.04.2026;gut
2;Baumwolle;4,8;Galläpfel;8;12,5;;Krapp;100;2,5;01.05.2026;
3;Seide;3;;;-;;Cochenille;5;;2. Mai 2026;ohne Beize
"""  # noqa: E501
    meant = Meant(
        {
            "1": "wool, potash alum 15 % with cream of tartar 6 %, weld 50 %",
            "2": "cotton, gallnut 8 %, potash alum 12.5 %, madder 100 %, ferrous sulfate 2.5 %",
            "3": "silk, cochineal 5 %",
        },
        {
            ("1", "mass_g"): 5.25,
            ("1", "made_on"): "2026-04-30",
            ("3", "made_on"): "2026-05-02",
            ("3", "note"): "ohne Beize",
        },
    )
    return text(folder / "Muster.csv", content, "cp1252"), meant


def french(folder):
    content = """Réf\tTissu\tMordançage\tMordançage %\tTeinture\tTeinture %\tTempérature teinture (°C)\tDurée teinture (min)\tNuançage\tRemarques
F-1\tlaine\talun\t15\tgaude\t50\t80\t60\t\tbelle
F-2\tcoton\tacétate d'alumine\t7,5\tgarance\t40\t65\t90\tsulfate de fer 1,5 %\t
F-3\tlin\t\t\tbrou de noix\t30\t90\t45\tcuivre 2 %\t
"""  # noqa: E501
    meant = Meant(
        {
            "F-1": "wool, potash alum 15 %, weld 50 %",
            "F-2": "cotton, aluminium acetate 7.5 %, madder 40 %, ferrous sulfate 1.5 %",
            "F-3": "linen, walnut hull 30 %, copper sulfate 2 %",
        },
        {("F-1", "note"): "belle"},
        {("F-1", 2, "temperature_C"): 80.0, ("F-2", 2, "minutes"): 90.0},
    )
    return text(folder / "essais.tsv", content), meant


def merged_headings(folder):
    rows = [
        ["Swatch", "Fibre", "Mordant", None, None, "Dye", None, "Modifier", None],
        [None, None, "name", "%", "°C", "name", "%", "name", "%"],
        ["M1", "wool", "alum", 15, 85, "weld", 50, "iron", 2],
        ["M2", None, "alum", 15, 85, "weld", 50, None, None],
        ["M3", "silk", "alum", 12, 60, "cochineal", 4, "iron", 1],
    ]
    merged = [("s", r) for r in ("A1:A2", "B1:B2", "C1:E1", "F1:G1", "H1:I1", "B3:B4")]
    meant = Meant(
        {
            "M1": "wool, potash alum 15 %, weld 50 %, ferrous sulfate 2 %",
            "M2": "wool, potash alum 15 %, weld 50 %",
            "M3": "silk, potash alum 12 %, cochineal 4 %, ferrous sulfate 1 %",
        },
        steps={("M1", 1, "temperature_C"): 85.0, ("M3", 1, "temperature_C"): 60.0},
    )
    return workbook(folder / "merged.xlsx", {"s": rows}, merged), meant


def steps_under_one_code(folder):
    rows = [
        ["Sample", "Step", "Material", "Dose", "Unit", "pH"],
        ["S1", "scour", "neutral soap", 2, "% WOF", 7],
        [None, "mordant", "potash alum", 15, "% WOF", None],
        [None, "dye", "madder", 50, "% WOF", 6.5],
        ["S2", "scour", "neutral soap", 2, "% WOF", None],
        [None, "tannin", "tara", 8, "% WOF", None],
        [None, "dye", "madder", 2.5, "g", None],
        [None, "after bath", "iron", 3, "g/L", None],
    ]
    meant = Meant(
        {
            "S1": "neutral soap 2 %, potash alum 15 %, madder 50 %",
            "S2": "neutral soap 2 %, tara 8 %, madder 2.5 g, ferrous sulfate 3 g/L",
        },
        steps={("S1", 3, "pH"): 6.5, ("S2", 4, "kind"): "modifier", ("S1", 1, "pH"): 7.0},
    )
    return workbook(folder / "steps.xlsx", {"log": rows}), meant


def dated(folder):
    from datetime import date, datetime

    rows = [
        ["Code", "Dyed on", "Yarn", "Mordant", "Mordant %", "Mordant temp", "Dye", "Dye %",
         "Dye time", "Dye bath"],
        ["D1", date(2026, 4, 30), "wool", "alum", 0.15, "185 °F", "weld", 0.5, "1:30", "W1"],
        ["D2", datetime(2026, 5, 1), "wool", "alum", 0.12, "85 °C", "weld", 0.5, "45 min", "W1"],
        ["D3", "3 March 2026", "wool", "none", None, None, "weld", 0.25, "overnight", "W2"],
    ]  # fmt: skip
    path = folder / "dated.xlsx"
    book = Workbook()
    for row in rows:
        book.active.append(row)
    for row in book.active.iter_rows(min_row=2):
        row[4].number_format = row[7].number_format = "0 %"
    book.save(path)
    meant = Meant(
        {
            "D1": "wool, potash alum 15 %, weld 50 %",
            "D2": "wool, potash alum 12 %, weld 50 %",
            "D3": "wool, weld 25 %",
        },
        {("D1", "made_on"): "2026-04-30", ("D3", "made_on"): "2026-03-03"},
        {
            ("D1", 1, "temperature_C"): 85.0,
            ("D1", 2, "minutes"): 90.0,
            ("D2", 2, "bath"): "W1",
        },
        lost=["cell I4"],
    )
    return path, meant


def wash_columns(folder):
    content = """Sample,Fibre,Dye,Dye %,Alum %,L*,a*,b*,L* wash 5,a* wash 5,b* wash 5,L* light 20 h,a* light 20 h,b* light 20 h,Illuminant,Observer
W1,wool,weld,50,15,70.1,-2.5,55,71,-2,52,74.5,-1,44,D65,10
W2,wool,madder,50,15,40,35.5,22,41,34,21.5,,,,D65,10
"""  # noqa: E501
    meant = Meant(
        {
            "W1": "wool, potash alum 15 %, weld 50 %",
            "W2": "wool, potash alum 15 %, madder 50 %",
        },
        readings=[
            ("W1", "whole", "none", None, 70.1, -2.5, 55),
            ("W1", "whole", "wash", 5, 71, -2, 52),
            ("W1", "whole", "light", 20, 74.5, -1, 44),
            ("W2", "whole", "none", None, 40, 35.5, 22),
            ("W2", "whole", "wash", 5, 41, 34, 21.5),
        ],
    )
    return text(folder / "washed.csv", content), meant


def a_row_a_reading(folder):
    content = """Nr;Faser;Beize;Beize %;Dye;Dye %;Zustand;L* (D65/10°);a*;b*;u L*;u a*;u b*
R1;Wolle;Alaun;15;Krapp;50;neu;40,25;35,5;22;0,3;0,2;0,2
R1;Wolle;Alaun;15;Krapp;50;neu;40,5;35,25;22,1;0,3;0,2;0,2
R1;;;;;;nach 5 Wäschen;41,75;33;21;0,3;0,2;0,2
R2;Wolle;Alaun;15;Krapp;50;neu;39,9;35,9;22,4;0,3;0,2;0,2
R2;Wolle;Alaun;10;Krapp;50;Wäsche 10;44;30;20;0,3;0,2;0,2
"""
    meant = Meant(
        {
            "R1": "wool, potash alum 15 %, madder 50 %",
            "R2": "wool, potash alum 15 %, madder 50 %",
        },
        readings=[
            ("R1", "whole", "none", None, 40.25, 35.5, 22),
            ("R1", "whole", "none", None, 40.5, 35.25, 22.1),
            ("R1", "whole", "wash", 5, 41.75, 33, 21),
            ("R2", "whole", "none", None, 39.9, 35.9, 22.4),
            ("R2", "whole", "wash", 10, 44, 30, 20),
        ],
        lost=["row 6"],
    )
    return text(folder / "Messung.csv", content), meant


def overdyes(folder):
    content = """No,Fabric,Pre-mordant,Pre-mordant %,First dye,First dye %,Overdye,Dips,Post-mordant
V1,wool,alum,15,weld,50,indigo,3,
V2,wool,alum,15,weld,50,indigo,1,
V3,wool,alum,15,weld,25,,,iron 2
V4,wool,,,,,woad,2,
"""
    meant = Meant(
        {
            "V1": "wool, potash alum 15 %, weld 50 %, indigo in 3 dips",
            "V2": "wool, potash alum 15 %, weld 50 %, indigo",
            "V3": "wool, potash alum 15 %, weld 25 %, ferrous sulfate 2 %",
            "V4": "wool, woad in 2 dips",
        },
        steps={("V1", 3, "kind"): "vat", ("V1", 3, "dips"): 3.0},
    )
    return text(folder / "overdyes.csv", content), meant


def printed(folder):
    content = """Code,Fabric,Area,Mordant,Dye,Dye %
P1,cotton,leaf,aluminium acetate 6,madder,30
P1,cotton,stem,aluminium acetate 6 + iron acetate 2,madder,30
P1,cotton,ground,,madder,30
"""
    meant = Meant(
        {
            "P1": "cotton, aluminium acetate 6 % (leaf), aluminium acetate 6 % (stem), "
            "ferrous acetate 2 % (stem), madder 30 %"
        },
    )
    return text(folder / "printed.csv", content), meant


def spectral(folder):
    bands = range(400, 701, 100)
    content = "Sample,Dye,Dye g," + ",".join(f"{nm} nm" for nm in range(400, 701, 10)) + "\n"
    rows = [("X1", "weld", 2.5), ("X2", "madder", 4)]
    for n, (code, dye, grams) in enumerate(rows):
        values = [20 + n + (nm - 400) / 10 for nm in range(400, 701, 10)]
        content += f"{code},{dye},{grams}," + ",".join(f"{v:.3f}" for v in values) + "\n"
    assert len(bands) == 4
    meant = Meant({"X1": "weld 2.5 g", "X2": "madder 4 g"})
    return text(folder / "spectra.csv", content), meant


def untidy(folder):
    content = """Code,Fabric,Alum %,Weld %,Iron %,Shelf,Weight
U1,wool,15,50,2,A,5
U2,wool,10-15,50,,A,5
,wool,15,50,,B,5
U1,wool,15,50,2,C,5
U4,wool,15,yes,,B,heavy
U5,wool,15,-3,#REF!,B,5
"""
    meant = Meant(
        {
            "U1": "wool, potash alum 15 %, weld 50 %, ferrous sulfate 2 %",
            "U2": "wool, weld 50 %",
            "U4": "wool, potash alum 15 %, weld",
            "U5": "wool, potash alum 15 %",
        },
        {("U1", "Shelf"): "A"},
        lost=["cell C3", "row 4", "row 5", "cell F5", "cell G6", "cell D7", "cell E7"],
    )
    return text(folder / "untidy.csv", content), meant


LAID_OUT = [
    *(plain, german, french, merged_headings, steps_under_one_code, dated),
    *(wash_columns, a_row_a_reading, overdyes, printed, spectral, untidy),
]
