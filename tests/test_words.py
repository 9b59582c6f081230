"""Texts for panels and pages: every file can be read, every key that code says is there."""

import json
import re
import tomllib
from pathlib import Path

import pytest

from dyelab import compare, words
from dyelab.errors import InputError

PACKAGE = Path(words.__file__).parents[1]
TOPICS = sorted((PACKAGE / "words" / "en").glob("*.toml"))


@pytest.mark.parametrize("path", TOPICS, ids=lambda path: path.stem)
def test_a_topic_is_a_flat_table_of_texts(path):
    texts = tomllib.loads(path.read_text(encoding="utf-8"))
    assert texts
    assert [key for key, text in texts.items() if not isinstance(text, str)] == []


def said():
    """Yield every key written out whole in the code."""
    for path in PACKAGE.rglob("*.py"):
        source = path.read_text(encoding="utf-8")
        calls = r"(?:\bsay|button|choices\.\w+)"
        for key in re.findall(rf"""{calls}\(\s*["']([a-z_]+\.\w+)["']""", source):
            if not key.endswith("_"):  # the beginning of several
                yield path.relative_to(PACKAGE), key


def test_every_key_said_is_there():
    known = {
        f"{path.stem}.{key}"
        for path in TOPICS
        for key in tomllib.loads(path.read_text(encoding="utf-8"))
    }
    assert [(str(path), key) for path, key in said() if key not in known] == []


def test_a_blank_is_filled_and_an_unknown_heading_reads_as_words():
    assert "wool" in words.say("pages.dye_on", dye="madder", cloth="wool")
    assert words.heading("dE00") == "ΔE00"
    assert words.heading("some_new_column") == "some new column"


@pytest.fixture
def made_up(tmp_path):
    """A language of the same texts between brackets, in use for one test."""
    folder = tmp_path / "xx"
    folder.mkdir()
    for path in TOPICS:
        texts = tomllib.loads(path.read_text(encoding="utf-8"))
        lines = [f"{json.dumps(key)} = {json.dumps(f'⟦{text}⟧')}" for key, text in texts.items()]
        (folder / path.name).write_text("\n".join(lines), encoding="utf-8")
    words.use("xx", tmp_path)
    yield
    words.use("en")


def test_one_setting_chooses_the_language(made_up):
    assert words.say("verdict.real").startswith("⟦")
    assert words.heading("dE00") == "⟦ΔE00⟧"
    (moved,) = compare.direction((50, 20, 10), (40, 10, 5))
    assert re.sub(r"[⟦⟧]", "", moved) == "much darker, much duller"
    assert all(part.startswith("⟦") for part in moved.split(", "))
    with pytest.raises(InputError, match=r"no texts in the language 'yy'\. There are: .*en"):
        words.use("yy")


def test_a_count_takes_its_form():
    assert words.say("exchange.taken", count=1, book="Mine").startswith("1 swatch came")
    assert words.say("exchange.taken", count="12", book="Mine").startswith("12 swatches came")
    assert words.say("planning.effort", pots=1, rounds=2, salts_g=3, hours=4, days=1).startswith(
        "1 pot a round, 2 rounds, 3 g"
    )
