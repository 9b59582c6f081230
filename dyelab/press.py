"""Pages: Typst template and data in, PDF out. User text travels as data, never as source."""

import json
import re
from pathlib import Path
from typing import Any, Literal

from dyelab import files
from dyelab.errors import reading

_FONTS = str(Path(__file__).parent / "fonts")  # for letters that Typst's own fonts lack
PAPERS = {"A4": "a4", "Letter": "us-letter"}


def pdf(
    template: str, data: Any, path: str | Path, *, pictures: dict[str, bytes] | None = None
) -> Path:
    """Compile a Typst template to a PDF file, whole or not at all.

    Parameters
    ----------
    template : str
        Typst source, which reads its data with ``json("data.json")``.
    data : object
        Anything JSON can hold. Text in it is shown as it is; nothing in it is run.
    path : str or Path
        The PDF to write.
    pictures : dict of str to bytes, optional
        Files the template shows by name, such as ``{"chart.svg": b"<svg …"}``.

    Returns
    -------
    Path
        The file written.

    Examples
    --------
    >>> from dyelab import press
    >>> press.pdf("= Madder", {}, folder / "a.pdf").read_bytes()[:5]
    b'%PDF-'
    """
    return files.write(path, typeset(template, data, pictures=pictures))


def typeset(
    template: str,
    data: Any,
    *,
    pictures: dict[str, bytes] | None = None,
    form: Literal["pdf", "png", "svg"] = "pdf",
    ppi: float = 144,
) -> bytes:
    """Compile a Typst template in memory; `form` is pdf, png (at `ppi`) or svg.

    Examples
    --------
    >>> from dyelab import press
    >>> press.typeset("= Madder", {}, form="svg")[:4]
    b'<svg'
    """
    import tempfile

    import typst

    with tempfile.TemporaryDirectory(prefix="dyelab-page-") as folder:
        root = Path(folder)
        (root / "page.typ").write_text(template, encoding="utf-8")
        plain = json.dumps(_printable(data), ensure_ascii=False)
        (root / "data.json").write_bytes(plain.encode("utf-8", "replace"))
        for name, content in (pictures or {}).items():
            (root / name).write_bytes(content)
        page = str(root / "page.typ")
        with reading("page", "printable"):
            return typst.compile(page, root=str(root), format=form, ppi=ppi, font_paths=[_FONTS])


# A word without a break is laid out in time and memory that grow with its square, and a text that
# fills pages is no label; past these it is cut, with a sign that it was.
_WORD, _TEXT = 600, 20_000
_BLANK = re.compile(r"(?:[\r\n][ \t]*){4,}")  # lines in a title, too, grow with their square
_LONG = re.compile(rf"\S{{{_WORD + 1},}}")


def _printable(data: Any) -> Any:
    """The data with words and texts cut that no page can show."""
    if isinstance(data, str):
        short = _BLANK.sub("\n\n", data)
        short = short if len(short) <= _TEXT else f"{short[:_TEXT]} …"
        return _LONG.sub(lambda m: f"{m.group()[:_WORD]}…", short) if len(short) > _WORD else short
    if isinstance(data, dict):
        return {key: _printable(value) for key, value in data.items()}
    if isinstance(data, list | tuple):
        return [_printable(value) for value in data]
    return data
