"""What a page says, before anything decides how it looks: frozen parts, in reading order.

Every text is plain text. The renderers show it letter by letter, whatever is in it.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from dyelab import press, table, words
from dyelab.errors import InputError
from dyelab.plot import static, style

PAPERS = {
    "A4": (210, 297),
    "Letter": (216, 279),
    "A3": (297, 420),
    "A2": (420, 594),
    "A1": (594, 841),
    "A6": (105, 148),
}
_PICTURES = {".png": "png", ".jpg": "jpg", ".jpeg": "jpg", ".svg": "svg"}
COLOUR = [*table.LAB, *table.WHITE]  # columns of a patch
_FULL = 720  # pixels of a figure as wide as the paper
_LARGEST_LOGO = 5_000_000  # bytes: it travels inside every page
_LONGEST_ADDRESS = 300  # letters: a code of more has modules too small for a phone at arm's length


@dataclass(frozen=True)
class Patch:
    """A printed chip: fill colour, whether it is true, and the numbers that outlast the ink.

    `fill` is a hex colour, or blank for a place where no swatch has been dyed. `crop` is a PNG
    of the cloth itself, shown under the chip.
    """

    label: str
    fill: str = ""
    inside: bool = True
    numbers: str = ""
    note: str = ""
    crop: bytes = b""


@dataclass(frozen=True)
class Block:
    """A part of a page.

    `only` is ``screen`` for what paper leaves out, ``paper`` for what a page in a browser does.
    """

    only: str = field(default="", kw_only=True)


@dataclass(frozen=True)
class Heading(Block):
    """A heading within the page; `only` as for `Text`."""

    text: str


@dataclass(frozen=True)
class Text(Block):
    """A paragraph; `tone` is ``body``, ``lead`` for the answer, or ``small``.

    `only` is ``screen`` for what paper leaves out, ``paper`` for what a page in a browser does.
    """

    text: str
    tone: str = "body"


@dataclass(frozen=True)
class Points(Block):
    """A list of short texts."""

    texts: tuple[str, ...]


@dataclass(frozen=True)
class Chips(Block):
    """Patches in a grid; `touching` sets them edge to edge, `pairs` keeps two and two together.

    `sticky` keeps them on the sheet of what follows.
    """

    patches: tuple[Patch, ...]
    columns: int = 5
    height_mm: float = 18
    touching: bool = False
    pairs: bool = False
    sticky: bool = False


@dataclass(frozen=True)
class Band:
    """One row of `Bands`: its name, and a patch for each column."""

    name: str
    patches: tuple[Patch, ...]
    note: str = ""


@dataclass(frozen=True)
class Bands(Block):
    """Rows of patches, the same column everywhere.

    Without `cell_mm` the patches share the width edge to edge; with it each is so wide and apart
    from the next, with its numbers, and letters are large. A blank patch shows its note.
    `head_mm` is the height of the columns' names, where sheets side by side are to line up, and
    with `level` they begin as low as the first. `only` as for `Text`.
    """

    columns: tuple[str, ...]
    bands: tuple[Band, ...]
    height_mm: float = 35
    cell_mm: float = 0
    head_mm: float = 0
    level: bool = False


@dataclass(frozen=True)
class NumberTable(Block):
    """A table of texts; `numeric` says which columns line up to the right."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[bool, ...]
    caption: str = ""


@dataclass(frozen=True)
class Chart(Block):
    """A drawing as SVG text, with the words that stand for it."""

    svg: str
    about: str
    width_percent: float = 100


@dataclass(frozen=True)
class Caution(Block):
    """What can hurt, and what to do about it."""

    texts: tuple[str, ...]


@dataclass(frozen=True)
class Frame(Block):
    """A dashed frame to staple the real swatch in, beside its printed chip and its numbers."""

    patch: Patch
    lines: tuple[str, ...] = ()
    width_mm: float = 60
    height_mm: float = 42


@dataclass(frozen=True)
class Card(Block):
    """A card of two sides: in front a frame for the cloth and its chip, the rest on the back."""

    number: str
    patch: Patch
    lines: tuple[str, ...]
    foot: str = ""


@dataclass(frozen=True)
class Fields(Block):
    """Places to write on, beside each other, such as name and date."""

    labels: tuple[str, ...]


@dataclass(frozen=True)
class TickQuestion(Block):
    """A question and what to tick; `columns` side by side.

    `key` names it in what a class hands in; with `one` a screen takes one tick.
    """

    question: str
    texts: tuple[str, ...]
    columns: int = 2
    key: str = ""
    one: bool = False


@dataclass(frozen=True)
class HandIn(Block):
    """Where a browser gives what was ticked as text, and counts a class's."""

    only: str = field(default="screen", kw_only=True)


@dataclass(frozen=True)
class Reveal(Block):
    """An answer that a page in a browser shows when its label is tapped; paper leaves it out."""

    label: str
    patches: tuple[Patch, ...]
    texts: tuple[str, ...]
    only: str = field(default="screen", kw_only=True)


@dataclass(frozen=True)
class Shade:
    """A cloth after some light: its colour, those at the limits of the change, its grade.

    Colours are hex, blank where nothing may be told; `known` is a code of ``grade.along``.
    """

    fill: str
    least: str
    most: str
    inside: bool
    said: str
    known: str


@dataclass(frozen=True)
class Hand:
    """A cloth of a `Clock`, with a shade for each dose."""

    name: str
    shades: tuple[Shade, ...]


@dataclass(frozen=True)
class Clock(Block):
    """Cloths as light changes them: a slider on a screen, a fan of cards to cut on paper.

    Attributes
    ----------
    doses : tuple of float
        In lx h, rising from 0; each hand has a shade for each.
    hands, beside : tuple of Hand
        The cloths, and the blue wool references lit beside them.
    moments : tuple of (str, float)
        Named hours of light: the cards, and buttons on a screen.
    places : tuple of (str, float)
        Named illuminances in lx; cards take the first.
    opens_at : float
        Hours of light that a screen shows first.
    marks : tuple of str
        What to say of each dose, or none.
    only : str
        As for `Text`.
    """

    doses: tuple[float, ...]
    hands: tuple[Hand, ...]
    beside: tuple[Hand, ...]
    moments: tuple[tuple[str, float], ...]
    places: tuple[tuple[str, float], ...]
    opens_at: float
    marks: tuple[str, ...] = ()

    def at(self, hours: float) -> int | None:
        """Which of the doses so many hours at the first place are; None beyond the last."""
        dose = hours * self.places[0][1]
        near = int(np.abs(np.array(self.doses) - dose).argmin())
        return None if dose > self.doses[-1] * 1.001 else near


@dataclass(frozen=True)
class NewPage(Block):
    """What follows starts a new page."""


@dataclass(frozen=True)
class Live(Block):
    """A Plotly figure as JSON, for HTML pages; paper shows `paper` instead."""

    figure: str
    about: str
    paper: Chart | None = None


@dataclass(frozen=True)
class Logo:
    """The teacher's own picture."""

    content: bytes
    form: str


@dataclass(frozen=True)
class Page:
    """A handout: one or more sheets of the same paper.

    Parameters
    ----------
    title : str
    blocks : tuple of Block
        In reading order.
    teacher, note : str
        The teacher's own lines, under the title and at the foot.
    logo : Logo, optional
    paper : str
        One of `PAPERS`, which holds the width and height of each in mm.
    landscape : bool
    aside : tuple of str
        What whoever makes the page should know; shown in the panel, never on the page.
    tight : bool
        Narrow margins, for a page that fills one sheet.
    bare : bool
        No head and no foot of its own, for cards that carry both.
    address : str
        Where the page lies for browsers; shown as a code to point a phone at, and in letters.
    """

    title: str
    blocks: tuple[Block, ...]
    teacher: str = ""
    note: str = ""
    logo: Logo | None = None
    paper: str = "A4"
    landscape: bool = False
    aside: tuple[str, ...] = ()
    tight: bool = False
    bare: bool = False
    address: str = ""

    def __post_init__(self) -> None:
        if self.paper not in PAPERS:
            raise InputError(f"no paper {self.paper!r} here. Papers: {', '.join(PAPERS)}.")

    @property
    def enlargement(self) -> float:
        """How many times larger than on A4 a large paper shows it, to be read from further away.

        Bands of chips are laid out for their paper and stay as they are.
        """
        wide = PAPERS[self.paper][0] / PAPERS["A4"][0]
        laid_out = any(isinstance(block, Bands) for block in self.blocks)
        return 1.0 if laid_out or wide < 1.1 else wide  # Letter is as wide as A4, or nearly


@dataclass(frozen=True)
class Header:
    """What a teacher puts on every page: title, name, a text, a foot line, a logo, the paper,
    and the address that a code on it opens.
    """

    title: str = ""
    teacher: str = ""
    text: str = ""
    note: str = ""
    logo: Logo | None = None
    paper: str = "A4"
    address: str = ""

    def page(
        self,
        title: str,
        blocks: Sequence[Block],
        *,
        white: tuple[str, int] = table.DEFAULT_WHITE,
        how: str = "",
        **laid: Any,
    ) -> Page:
        """Return a page with these on it; `title` is used where the teacher gave none.

        The foot names the white of the page's colours and how they were read, where the teacher
        wrote no other line. `laid` is what else `Page` takes: ``landscape``, ``tight``, ``aside``.
        """
        opening: list[Block] = [Text(self.text)] if self.text else []
        read = ", ".join(filter(None, [table.white_text(white), how]))
        note = self.note or words.say("pages.foot", white=read)
        own = (self.teacher, note, self.logo, self.paper)
        laid["address"] = self.address.strip()
        return Page(self.title or capital(title), (*opening, *blocks), *own, **laid)


def code(address: str) -> bytes:
    """A QR code (ISO/IEC 18004) of an address as SVG, read back before it is given out.

    Raises
    ------
    InputError
        If a browser can't open the address, or it is too long for a code.
    """
    import cv2

    address = address.strip()
    if not re.fullmatch(r"https?://\S+", address) or len(address) > _LONGEST_ADDRESS:
        raise InputError(words.say("pages.bad_address", address=address, most=_LONGEST_ADDRESS))
    modules = cv2.QRCodeEncoder.create().encode(address)
    big = np.pad(np.kron(modules, np.ones((6, 6), np.uint8)), 24, constant_values=255)
    if cv2.QRCodeDetector().detectAndDecode(big)[0] != address:
        raise InputError(words.say("pages.no_code", address=address))
    side = len(modules)
    dark = "".join(f"M{x} {y}h1v1h-1z" for y, x in np.argwhere(modules == 0))
    frame = f'viewBox="0 0 {side} {side}" shape-rendering="crispEdges"'
    ground = f'<rect width="{side}" height="{side}" fill="#fff"/>'
    return f'<svg xmlns="{_SVG}" {frame}>{ground}<path d="{dark}"/></svg>'.encode()


def code_mm(paper: str) -> int:
    """How wide a code is on this paper: wider on a sheet seen from further away."""
    return PAPERS[paper][0] // 10


_SVG = "http://www.w3.org/2000/svg"


def with_step(text: str) -> str:
    """A text with what a ΔE00 of 1 means to the eye."""
    return f"{text} {words.say('pages.step_seen')}"


def capital(text: str) -> str:
    """Text with a capital at its start, for a title or a sentence that begins with a name."""
    return text[:1].upper() + text[1:]


def logo(path: str | Path | None) -> Logo | None:
    """Read a logo file; nothing given, nothing shown.

    Raises
    ------
    InputError
        If the file is missing, too large, or no PNG, JPEG or SVG.

    Examples
    --------
    >>> from dyelab import handout
    >>> handout.logo(None) is None
    True
    """
    if not path:
        return None
    file = Path(path).expanduser()
    form = _PICTURES.get(file.suffix.lower())
    if form is None:
        raise InputError(f"{file}: a logo is a PNG, JPEG or SVG file. Save it as one of these.")
    if not file.is_file():
        raise InputError(f"{file}: there is no such file. Check the name of the logo file.")
    if file.stat().st_size > _LARGEST_LOGO:
        raise InputError(f"{file}: a logo may have 5 MB at most. Save a smaller copy.")
    return logo_of(file.read_bytes(), form, str(file))


def logo_of(content: bytes, form: str, name: str) -> Logo:
    """Try a picture (``png``, ``jpg`` or ``svg``) on a page, so that no page fails on it later.

    Examples
    --------
    >>> from dyelab import handout
    >>> svg = b"<svg xmlns='http://www.w3.org/2000/svg'/>"
    >>> handout.logo_of(svg, "svg", "mark.svg").form
    'svg'
    """
    try:
        press.typeset(f'#image("logo.{form}", width: 1cm)', {}, pictures={f"logo.{form}": content})
    except InputError as fault:
        kind = form.upper()
        raise InputError(
            f"{name}: this is no {kind} picture inside. Save it again as {kind}."
        ) from fault
    return Logo(content, form)


def patches(lab: pd.DataFrame, labels: Sequence[str], notes: Sequence[str] = ()) -> list[Patch]:
    """Patches of a CIELAB table; rows without a reading become blank places that say so.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import handout
    >>> before = pd.DataFrame({"L": [50.0], "a": [20.0], "b": [22.0]})
    >>> before = before.assign(illuminant="D65", observer=10)
    >>> handout.patches(before, ["madder"])[0].label
    'madder'
    """
    if not len(lab):
        return []
    values, (fills, inside) = lab[table.LAB].to_numpy(float), style.screen(lab)
    more = list(notes) or [""] * len(lab)
    return [
        Patch(str(label), str(fills[i]), bool(inside[i]), numbers(values[i]), str(more[i]))
        if fills[i]
        else Patch(str(label), note=str(more[i]) or words.say("pages.not_measured"))
        for i, label in enumerate(labels)
    ]


def describe(block: Block, put: Callable[[bytes, str], str]) -> dict[str, Any]:
    """A block as plain data; `put` keeps a picture of a form and returns what stands for it."""
    kind = {"kind": type(block).__name__.lower()}
    if isinstance(block, Chart):
        src = put(block.svg.encode("utf-8"), "svg")
        return {**kind, "src": src, "about": block.about, "width_percent": block.width_percent}
    made = keep_units({**kind, **asdict(block)})
    for patch in every_patch(made):
        patch["crop"] = put(patch["crop"], "png") if patch["crop"] else ""
    return dict(made)


def every_patch(block: dict[str, Any]) -> list[dict[str, Any]]:
    """Every patch of a block given as a dict, wherever in it."""
    own = [block["patch"]] if "patch" in block else []
    within = [patch for band in block.get("bands", ()) for patch in band["patches"]]
    return [*block.get("patches", ()), *own, *within]


_TOGETHER = re.compile(
    r"(?:\b[^\W\d]{1,14} )?\d[\d.]* (?:%|°C)|(?:ΔE00|[Lab]\*|n =|grade) −?\d[\d.]*|\d [Ll]x h"
)


def keep_units(data: Any) -> Any:
    """Texts of a page's data in which no line parts a number from its unit or its name."""
    if isinstance(data, str):
        return _TOGETHER.sub(lambda found: found.group().replace(" ", "\u00a0"), data)
    if isinstance(data, dict):
        return {key: keep_units(value) for key, value in data.items()}
    return type(data)(map(keep_units, data)) if isinstance(data, list | tuple) else data


def foot(page: Page) -> str:
    """The page's last line, and what a cut corner means where a chip has one."""
    return page.note if _true(page) else f"{page.note} {words.say('pages.outside')}".strip()


def _true(part: Any) -> bool:
    """Whether every colour within is shown as it is."""
    if isinstance(part, tuple):
        return all(map(_true, part))
    if not is_dataclass(part):
        return True
    return getattr(part, "inside", True) and all(_true(getattr(part, f.name)) for f in fields(part))


def numbers(lab: Sequence[float]) -> str:
    """L* a* b* as printed under a chip.

    Examples
    --------
    >>> from dyelab import handout
    >>> handout.numbers([50, -3.14, 10])
    'L* 50.0  a* −3.1  b* 10.0'
    """
    L, a, b = (cell(float(value)) for value in lab)
    return f"L* {L}  a* {a}  b* {b}"


def number_table(
    frame: pd.DataFrame, caption: str = "", decimals: int | Sequence[int] = 1, missing: str = "–"
) -> NumberTable:
    """A DataFrame as a printed table: headings in words, a dash or blank for what is missing.

    Examples
    --------
    >>> import pandas as pd
    >>> from dyelab import handout
    >>> handout.number_table(pd.DataFrame({"L": [50.123]})).rows
    (('50.1',),)
    """
    frame = words.in_words(frame)
    numeric = tuple(bool(pd.api.types.is_numeric_dtype(kind)) for kind in frame.dtypes)
    heads = tuple(words.heading(str(name)) for name in frame.columns)
    given = [decimals] * len(heads) if isinstance(decimals, int) else decimals
    # the doubt of an instrument isn't nothing because it is under 0.05
    fine = [
        2 if name in table.STANDARD_UNCERTAINTIES else n
        for name, n in zip(frame, given, strict=True)
    ]
    rows = tuple(
        tuple(cell(value, n, missing=missing) for value, n in zip(row, fine, strict=True))
        for row in frame.itertuples(index=False)
    )
    return NumberTable(heads, rows, numeric, caption)


def cell(value: Any, decimals: int = 1, *, missing: str = "–") -> str:
    """One cell as text; missing is a dash, because blank looks forgotten on paper.

    Examples
    --------
    >>> from dyelab import handout
    >>> handout.cell(-3.14159)
    '−3.1'
    """
    if value is None or (not isinstance(value, str) and pd.isna(value)):
        return missing
    if isinstance(value, bool | np.bool_):
        return words.say("frame.yes" if value else "frame.no")
    if isinstance(value, float | np.floating):
        return f"{value:.{decimals}f}".replace("-", "−")
    return str(value)


def chart(figure: Any, about: str, width: int = _FULL) -> Chart:
    """A figure as a vector chart for paper, so many of 720 pixels wide.

    Examples
    --------
    >>> import plotly.graph_objects as go
    >>> from dyelab import handout
    >>> figure = go.Figure(go.Scatter(x=[0], y=[1]), layout={"width": 300, "height": 200})
    >>> handout.chart(figure, "one bar").about
    'one bar'
    """
    return Chart(static.svg(figure, width), about, 100 * width / _FULL)


def live(figure: Any, about: str, width: int = _FULL) -> Live:
    """A figure that stays alive in HTML and becomes a vector chart on paper.

    Examples
    --------
    >>> import plotly.graph_objects as go
    >>> from dyelab import handout
    >>> figure = go.Figure(go.Scatter(x=[0], y=[1]), layout={"width": 300, "height": 200})
    >>> handout.live(figure, "one bar").about
    'one bar'
    """
    return Live(str(figure.to_json()), about, chart(figure, about, width))
