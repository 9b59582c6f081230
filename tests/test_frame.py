import gzip
import pkgutil
from importlib import import_module
from pathlib import Path

import nasty
import pandas as pd
import pytest
import stand_in
from plotly.offline import get_plotlyjs

from dyelab import book, files
from dyelab import panel as panels
from dyelab.errors import InputError
from dyelab.panel import book_choice, choices, frame, html_parts, remember, widgets
from dyelab.plot import plane


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch):
    """Keep the state of these tests in a folder of their own, with two books beside each other."""
    monkeypatch.chdir(tmp_path)
    for name in ("example", "mine"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "datapackage.json").write_text(f'{{"title": "Book {name}"}}')
    monkeypatch.setattr(book_choice, "example", lambda: tmp_path / "example")
    monkeypatch.setattr(book_choice, "open_book", lambda path: stand_in.Book(path))
    return tmp_path


def choose(book):
    return {
        "dye": choices.pick("Dye", ["madder", "weld"]),
        "dose": choices.steps("Iron", [0.0, 1.0, 3.0]),
    }


def show(book, dye, dose):
    if dye == "weld" and dose == 3:
        raise InputError("nothing was dyed with weld and 3 % iron. Choose another dose.")
    if dye == "weld" and dose == 1:
        raise ZeroDivisionError("of all things")
    lab = stand_in.lab([dye], [(45, 42 - 10 * dose, 30)], group="swatch")
    chip = frame.Chip(dye, (45, 42 - 10 * dose, 30))
    return frame.Answer(
        f"{dye} with {dose:g} % iron", plane.figure(lab), lab, [chip], [f"from {book.path.name}"]
    )


@pytest.fixture
def panel(home):
    return frame.Panel("test", "A panel", choose, show)


def test_it_opens_on_the_example_and_follows_a_choice(panel):
    assert panel.sentence == "madder with 0 % iron"
    panel.choices["dose"].value = 1.0
    assert panel.sentence == "madder with 1 % iron"
    assert [t.x[0] for t in panel.shown.figure.data if t.mode == "markers" and not t.xaxis] == [32]
    assert panel.canvas.figure == panel.shown.figure.to_json()
    assert panel.canvas.description == panel.sentence


def test_a_refusal_stands_in_the_place_of_the_answer(panel):
    panel.choices["dye"].value = "weld"
    panel.choices["dose"].value = 3.0
    assert "Choose another dose." in panel.answer.value
    assert "dl-notice" in panel.answer.value
    assert panel.canvas.figure == ""
    assert panel.busy.value == ""
    panel.choices["dose"].value = 0.0
    assert panel.sentence == "weld with 0 % iron"


def test_a_fault_is_told_in_words_and_its_details_are_kept(panel):
    panel.choices["dye"].value = "weld"
    panel.choices["dose"].value = 1.0
    assert "did not expect" in panel.answer.value
    assert "Traceback" not in panel.answer.value
    (kept,) = remember.state_file().parent.glob("last-fault.txt")
    assert "ZeroDivisionError" in kept.read_text()


def test_choices_are_remembered_for_each_book(panel, home):
    panel.choices["dye"].value = "weld"
    panel.shelf.choose(home / "mine")
    assert panel.choices["dye"].value == "madder"
    panel.choices["dose"].value = 1.0
    again = frame.Panel("test", "A panel", choose, show, book=home / "example")
    assert again.choices["dye"].value == "weld"
    again.shelf.choose(home / "mine")
    assert (again.choices["dye"].value, again.choices["dose"].value) == ("madder", 1.0)


def test_plotly_is_sent_when_a_page_asks_and_in_one_message_of_fair_size(panel, monkeypatch):
    sent = []
    monkeypatch.setattr(panel.canvas, "send", lambda said, buffers=(): sent.append((said, buffers)))
    panel.canvas.receive({"kind": "program"})
    ((said, (packed,)),) = sent
    assert said == {"kind": "program"}
    assert gzip.decompress(packed).decode() == get_plotlyjs()
    assert len(packed) < 2e6  # a notebook server lets a megabyte a second through
    program = Path(widgets.__file__).with_name("canvas.js")
    assert program.stat().st_size < 20_000  # what has to be read before the widget may start


def test_several_chosen_together_are_remembered(home):
    def make():
        names = choices.pick_many("Dyes", ["madder", "weld", "walnut"], ["madder"])
        told = lambda book, dyes: frame.Answer(", ".join(dyes))  # noqa: E731
        return frame.Panel("many", "A panel", lambda book: {"dyes": names}, told)

    make().choices["dyes"].value = ("weld", "walnut")
    assert make().sentence == "weld, walnut"


def test_what_must_not_be_remembered_is_not(home):
    frame.Panel("record", "A panel", choose, show, remember="session").choices["dye"].value = "weld"
    again = frame.Panel("record", "A panel", choose, show, remember="session")
    assert again.choices["dye"].value == "madder"


def test_whole_numbers_are_shown_without_decimals_and_doses_stay_in_one_line():
    rows = pd.DataFrame({"a": [1.0, None, 3.0], "b": [1.5, 2, -3], "c": "iron 2 %"})
    shown = html_parts.table(rows, "rows")
    assert '<td class="dl-num">3</td>' in shown
    assert ">−3.0<" in shown, "as many decimals as the numbers have"
    assert "iron 2&nbsp;%" in shown


def test_a_remembered_choice_that_has_gone_is_no_hindrance(panel, home):
    remember.keep_choices(home / "example", "test", {"dye": "saffron", "dose": 1.0})
    assert frame.Panel("test", "A panel", choose, show).sentence == "madder with 1 % iron"


def test_a_folder_that_is_no_book_is_named_with_what_to_do(panel, home):
    panel.shelf.list.value = ""
    assert panel.shelf.folder.layout.display == ""
    panel.shelf.folder.value = str(home)
    assert "is not a swatch book" in panel.answer.value
    panel.shelf.folder.value = str(home / "mine")
    assert panel.book.path == home / "mine"
    assert panel.sentence == "madder with 0 % iron"


def test_the_next_page_opens_on_the_book_that_was_open_last(panel, home):
    assert panel.book.path.name == "example"
    panel.shelf.choose(home / "mine")
    assert frame.Panel("next", "Another panel", choose, show).book.path.name == "mine"


def test_books_beside_the_notebook_are_offered_by_title(panel, home):
    labels = [label for label, _ in panel.shelf.list.options]
    assert labels[0] == "Example: Marlpit Yard"
    assert "Book mine" in labels


def test_a_book_named_on_opening_comes_first(home, monkeypatch):
    monkeypatch.setenv("DYELAB_BOOK", str(home / "mine"))
    assert frame.Panel("test", "A panel", choose, show).book.path == home / "mine"


def test_a_book_can_be_handed_over(home):
    assert frame.Panel("t", "A panel", choose, show, book=home / "mine").book.path.name == "mine"


def test_a_button_waits(home):
    panel = frame.Panel("t", "A panel", choose, show, button="Show")
    assert panel.shown is None
    panel.choices["dose"].value = 1.0
    assert panel.shown is None
    panel.button.click()
    assert panel.sentence == "madder with 1 % iron"


def test_progress_is_handed_to_those_who_want_it(home):
    told = []

    def slow(book, dye, dose, progress):
        progress(0.5, "half way")
        told.append(panel_box[0].busy.value)
        return frame.Answer("done")

    panel_box = [frame.Panel("t", "A panel", choose, slow, button="Go")]
    panel_box[0].button.click()
    assert "half way" in told[0]
    assert 'value="0.500"' in told[0]
    assert panel_box[0].busy.value == ""


def test_options_that_depend_on_another_follow_it(home):
    def refresh(book, widgets):
        doses = [0.0, 2.0] if widgets["dye"].value == "weld" else [0.0, 1.0, 3.0]
        choices.set_options(widgets["dose"], doses)

    panel = frame.Panel("t", "A panel", choose, show, refresh=refresh)
    panel.choices["dose"].value = 3.0
    panel.choices["dye"].value = "weld"
    assert panel.sentence == "weld with 0 % iron"
    assert list(panel.choices["dose"].options) == [0.0, 2.0]


@pytest.mark.parametrize("text", nasty.ALL)
def test_user_text_is_shown_as_text(home, text):
    def told(book, dye, dose):
        frame_ = pd.DataFrame({"swatch": [text], "L": [1.0]})
        return frame.Answer(
            text, None, frame_, [frame.Chip(text, (50, 0, 0), text)], [text], [(text, b"")]
        )

    panel = frame.Panel("t", "A panel", choose, told)
    for place in (panel.answer, panel.patches, panel.below):
        assert "<script" not in place.value
        assert "<b onclick" not in place.value
    import html

    assert text in html.unescape(panel.answer.value)


def test_saving_never_writes_over_a_file(panel, home):
    panel.keep.buttons["table"].click()
    panel.keep.buttons["table"].click()
    assert sorted(p.name for p in (home / "saved").iterdir()) == [
        "A-panel-Book-example-2.csv",
        "A-panel-Book-example.csv",
    ]
    link = 'href="../files/saved/A-panel-Book-example-2.csv"'
    assert f"{link}>A-panel-Book-example-2.csv</a>" in panel.keep.told.value


def test_a_saved_table_runs_nothing_in_a_spreadsheet(home):
    path = files.write_table(
        pd.DataFrame({"swatch": ["=1+1", "K-01"], "a": [-3.0, 4.0]}), home / "t.csv"
    )
    assert path.read_text().splitlines() == ["swatch,a", "'=1+1,-3.0", "K-01,4.0"]


def test_a_picture_from_the_browser_is_saved_as_a_file(panel, home):
    panel.keep.buttons["svg"].click()
    url = "data:image/svg+xml,%3Csvg%3E%C3%A9%3C%2Fsvg%3E"
    panel.canvas.receive({"kind": "picture", "url": url})
    assert (home / "saved" / "A-panel-Book-example.svg").read_text(
        encoding="utf-8"
    ) == "<svg>é</svg>"


def test_what_is_shown_can_be_shared_as_one_page(panel, home):
    panel.keep.buttons["html"].click()
    source = (home / "saved" / "A-panel-Book-example.html").read_text(encoding="utf-8")
    assert "madder with 0 % iron" in source
    assert "Plotly.newPlot" in source


def test_only_what_can_be_saved_is_offered(panel):
    shown = {n: b.layout.display != "none" for n, b in panel.keep.buttons.items()}
    assert shown == {"table": True, "svg": True, "png": True, "pdf": False, "html": True}


def test_a_panel_computes_with_one_thread_of_linear_algebra(home):
    from threadpoolctl import threadpool_info

    def threads(book, **chosen):
        pools = [one["num_threads"] for one in threadpool_info() if one["user_api"] == "blas"]
        return frame.Answer(str(max(pools, default=1)))

    assert frame.Panel("t", "A panel", choose, threads).sentence == "1"


def test_a_list_whose_first_choice_stands_for_none_shows_it():
    assert choices.pick("Read by", [("the best", None), ("photo", "photo")]).label == "the best"


def test_several_are_ticked_one_by_one_without_a_key_to_hold():
    many = choices.pick_many("Dyes", ["madder", ("weld, old", "weld"), "walnut"], ["walnut"])
    assert (many.labels, many.chosen, many.value) == (
        ["madder", "weld, old", "walnut"],
        [2],
        ("walnut",),
    )
    seen = []
    many.observe(lambda change: seen.append(change["new"]), "value")
    many.chosen = [0, 2]  # what the page sends when a box is ticked
    assert (many.value, seen) == (("madder", "walnut"), [("madder", "walnut")])
    choices.set_options(many, ["walnut", "indigo"])
    assert (many.value, many.chosen) == (("walnut",), [0])
    with pytest.raises(Exception, match="not on the list"):
        many.value = ("saffron",)


def test_a_number_past_its_limits_stays_as_typed_and_is_refused_in_words(tmp_path, monkeypatch):
    monkeypatch.setattr(book_choice, "open_book", book.open)
    bk = book.save(book.create(tmp_path / "own"))

    def asked(_):
        return {"n": choices.number("Minutes", 5, low=1, high=90, whole=True)}

    def show(_, n):
        return frame.Answer(f"{n:g} minutes")

    made = frame.Panel("t", "A panel", asked, show, book=bk.path)
    made.choices["n"].value = 900
    assert "Minutes: 900 is outside 1 to 90. Type a number" in made.sentence
    assert made.choices["n"].value == 900
    with pytest.raises(InputError, match="outside 1 to 90"):
        _ = made.values
    made.choices["n"].value = 2.5
    assert "Minutes: 2.5 is not a whole number" in made.sentence
    made.choices["n"].value = 20
    assert made.sentence == "20 minutes"
    remember.keep_choices(bk.path, "t", {"n": 900.0})
    again = frame.Panel("t", "A panel", asked, show, book=bk.path)
    assert again.sentence == "5 minutes", "what no longer can be is not remembered"


def test_a_panel_looked_at_again_shows_what_another_page_saved(tmp_path, monkeypatch):
    monkeypatch.setattr(book_choice, "open_book", book.open)
    bk = book.save(book.create(tmp_path / "own"))

    def count(opened, **_):
        return frame.Answer(f"{len(opened.swatches)} swatches")

    def asked(_):
        return {"n": choices.number("n", 0, low=0, high=9, unit="")}

    made = frame.Panel("t", "A panel", asked, count, remember="session", book=bk.path)
    made.choices["n"].value = 4
    before = made.choices["n"]
    dress = made.children[0]
    dress.receive({"kind": "seen"})
    assert made.choices["n"] is before, "nothing has changed, so nothing is opened anew"
    book.save(book.add(book.open(bk.path), swatches=pd.DataFrame({"swatch": ["K-01"]})))
    dress.receive({"kind": "seen"})
    assert made.sentence == "1 swatches"
    assert made.values == {"n": 4}


def test_what_another_page_saves_while_a_panel_opens_the_book_is_seen_the_next_time(
    tmp_path, monkeypatch
):
    bk = book.save(book.create(tmp_path / "own"))

    def open_slowly(path):
        opened = book.open(path)
        if len(opened.swatches) < 2:
            rows = pd.DataFrame({"swatch": [f"K-0{len(opened.swatches)}"]})
            book.save(book.add(opened, swatches=rows))
        return opened

    monkeypatch.setattr(book_choice, "open_book", open_slowly)

    def count(opened, **_):
        return frame.Answer(f"{len(opened.swatches)} swatches")

    made = frame.Panel("t", "A panel", lambda _: {}, count, book=bk.path)
    for many in (0, 1, 2):
        assert made.sentence == f"{many} swatches"
        made.children[0].receive({"kind": "seen"})


def test_a_button_of_a_panel_with_nothing_to_show_says_why(tmp_path):
    def refuse(_):
        raise InputError("Nothing is here yet.")

    def stumble(_):
        raise KeyError("elsewhere")

    works = {"frame.book": lambda panel: panel.values["n"], "frame.folder": stumble}
    bk = book.save(book.create(tmp_path / "own"))
    made = frame.Panel("t", "A panel", refuse, frame.Answer, actions=works, book=bk)
    asking, broken = made.actions.values()
    asking.click()
    assert "Nothing is here yet." in made.told.value
    broken.click()
    assert "elsewhere" in made.told.value, "a fault of its own is not hidden behind the refusal"


def test_every_panel_says_that_a_folder_is_no_book(tmp_path):
    found = (one.name for one in pkgutil.iter_modules(panels.__path__))
    modules = [import_module(f"dyelab.panel.{name}") for name in found if name != "glossary"]
    makers = [one.panel for one in modules if callable(getattr(one, "panel", None))]
    opened = [panel(tmp_path / "gone") for panel in makers]
    assert len(opened) > 15
    for made in opened:
        assert "gone is not a swatch book" in made.answer.value
        for press in made.actions.values():
            press.click()
            assert "example" not in made.told.value
            assert "stumbled" not in made.told.value
