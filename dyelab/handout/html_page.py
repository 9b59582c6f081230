"""A page description to one self-contained HTML file that asks nothing of any network."""

import base64
import json
import re
from dataclasses import asdict
from pathlib import Path
from typing import Any

from dyelab import files, words
from dyelab.handout.page import Chips, Clock, HandIn, Live, Page, code, describe, foot, keep_units

_HERE = Path(__file__).parent
_SHORT = 30  # letters of a note that has room under a narrow chip on a phone
_LONG = re.compile(r"\w{12}(?=\w{4})")
_TYPES = {"png": "image/png", "jpg": "image/jpeg", "svg": "image/svg+xml"}


def html(page: Page, path: str | Path) -> Path:
    """Write the page as one HTML file; Plotly travels inside where a figure is alive.

    Examples
    --------
    >>> from dyelab import handout
    >>> page = handout.share_page("Madder", "Iron made it darker.")
    >>> handout.html(page, folder / "a.html").name
    'a.html'
    """
    return files.write(path, text(page))


def text(page: Page) -> str:
    """Return the page as HTML text."""
    alive = any(isinstance(block, Live) for block in page.blocks)
    return render(
        "page.html",
        page=page,
        title=keep_units(page.title),
        foot=foot(page),
        blocks=[_block(b) for b in page.blocks if b.only != "paper"],
        logo=_address(page.logo.content, page.logo.form) if page.logo else "",
        code=_address(code(page.address), "svg") if page.address else "",
        plotly=_plotly() if alive else "",
        scripts=[
            _with_words(name)
            for name, kind in _SCRIPTS.items()
            if any(isinstance(block, kind) for block in page.blocks)
        ],
    )


def render(template: str, **values: Any) -> str:
    """One of our templates with its values; every text in it is escaped, but what is `script`."""
    import jinja2

    source = (_HERE / template).read_text(encoding="utf-8")
    maker = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    maker.filters["breakable"] = breakable
    return maker.from_string(source).render(say=words.say, language="en", **values)


def breakable(told: Any) -> str:
    """A cell's text, its longest words with places to break, so that a narrow column holds them."""
    return _LONG.sub("\\g<0>\u00ad", str(told))


_SCRIPTS = {"clock": Clock, "hand_in": HandIn}


def _with_words(name: str) -> str:
    """The script of a kind of block, with its words."""
    program = (_HERE / f"{name}.js").read_text(encoding="utf-8")
    return f"const {name.upper()} = {script(words.topic(name))};\n{program}"


def _plotly() -> str:
    from plotly.offline import get_plotlyjs

    return str(get_plotlyjs())


def _address(content: bytes, form: str) -> str:
    return f"data:{_TYPES[form]};base64,{base64.b64encode(content).decode()}"


def script(data: Any) -> str:
    """JSON to stand in a script: a "<" could end it; its escape means the same and can't."""
    return json.dumps(data, ensure_ascii=True).replace("<", "\\u003c")


def _block(block: Any) -> dict[str, Any]:
    if isinstance(block, Live):
        drawn = json.loads(block.figure)
        figure = script(drawn)
        height = int(drawn.get("layout", {}).get("height") or 440)
        return {"kind": "live", "figure": figure, "about": block.about, "height": height}
    if isinstance(block, Clock):
        return {"kind": "clock", "data": script(asdict(block))}
    made = describe(block, _address)
    if isinstance(block, Chips):
        made["told"] = not block.pairs and any(len(p.note) > _SHORT for p in block.patches)
        bare = all(not p.numbers and len(p.label) < 10 for p in block.patches)
        made["wordy"] = block.columns > 5 and not block.pairs
        made["least"] = "4rem" if bare else "8.5rem"
    return made
