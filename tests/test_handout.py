import io
import re
from html.parser import HTMLParser

import nasty
import pytest
import stand_in
from PIL import Image

from dyelab import handout
from dyelab.errors import InputError
from dyelab.plot import plane

PNG = io.BytesIO()
Image.new("RGB", (3, 2), "grey").save(PNG, "PNG")
PNG = PNG.getvalue()


class Words(HTMLParser):
    """Text and tags of an HTML page."""

    def __init__(self, text):
        super().__init__()
        self.words, self.tags, self.attributes = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data):
        self.words.append(data.replace("\u00a0", " "))  # doses are kept in one line


def everything(text):
    """A page with a block of every kind, all saying `text`."""
    lab = stand_in.lab(["one", "two"], [(45, 42, 30), (60, -120, 60)], group=text)
    figure = plane.figure(lab)
    patches = (*handout.patches(lab, [text, "two"], [text, ""]), handout.Patch(text, note=text))
    blocks = (
        handout.Heading(text),
        handout.Text(text, "lead"),
        handout.Text(text),
        handout.Text(text, "small"),
        handout.Points((text, text)),
        handout.Points((text,)),
        handout.Chips(patches, columns=4, touching=True),
        handout.number_table(lab[["swatch", "L", "group"]], text),
        handout.chart(figure, text),
        handout.live(figure, text),
        handout.Caution((text,)),
        handout.Frame(patches[0], (text,)),
        handout.NewPage(),
    )
    return handout.Page(text, blocks, teacher=text, note=text, logo=handout.logo_of(PNG, "png", ""))


@pytest.mark.parametrize("text", nasty.ALL)
def test_user_text_passes_through_html_as_text(text, tmp_path):
    page = everything(text)
    source = handout.html(page, tmp_path / "page.html").read_text(encoding="utf-8")
    seen = Words(source)
    assert "".join(seen.words).count(text) >= 12
    assert not [name for name, _ in seen.attributes if name.startswith("on")]
    plain = Words(handout.html(everything("plain"), tmp_path / "plain.html").read_text("utf-8"))
    assert seen.tags == plain.tags


@pytest.mark.parametrize("text", nasty.ALL)
def test_user_text_passes_through_pdf_as_text(text, tmp_path):
    import subprocess
    from shutil import which

    path = handout.pdf(everything(text), tmp_path / "page.pdf")
    assert path.read_bytes().startswith(b"%PDF")
    if which("pdftotext") is None:
        pytest.skip("no pdftotext to read it back with")
    read = subprocess.run(["pdftotext", path, "-"], capture_output=True, check=True).stdout.decode()
    letters = re.sub(r"[^a-z]", "", text.lower())[:30]
    assert re.sub(r"[^a-z]", "", read.lower()).count(letters) >= 10


def test_html_asks_nothing_of_the_network(tmp_path):
    source = handout.html(everything("plain"), tmp_path / "page.html").read_text(encoding="utf-8")
    assert "default-src 'none'" in source
    links = [v for n, v in Words(source).attributes if n in ("src", "href") and v]
    assert links
    assert all(link.startswith("data:") for link in links)


def test_a_colour_beyond_the_page_is_said_in_words_and_a_missing_one_too():
    lab = stand_in.lab(["a", "b", "c"], [(45, 42, 30), (60, -120, 60), (None, None, None)])
    true, beyond, missing = handout.patches(lab, ["a", "b", "c"])
    assert (true.inside, beyond.inside) == (True, False)
    assert missing.fill == ""
    assert missing.note == "not measured yet"
    assert beyond.numbers == "L* 60.0  a* −120.0  b* 60.0"


def test_both_papers_and_both_ways_up(tmp_path):
    import subprocess
    from shutil import which

    if which("pdfinfo") is None:
        pytest.skip("no pdfinfo to measure it with")
    sizes = {}
    for paper in ("A4", "Letter", "A2"):
        for flat in (False, True):
            page = handout.Page("x", (handout.Text("y"),), paper=paper, landscape=flat)
            told = subprocess.run(
                ["pdfinfo", handout.pdf(page, tmp_path / "p.pdf")], capture_output=True, check=True
            )
            size = re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", told.stdout.decode())
            sizes[paper, flat] = tuple(round(float(v)) for v in size.groups())
    assert sizes == {
        ("A4", False): (595, 842),
        ("A4", True): (842, 595),
        ("Letter", False): (612, 792),
        ("Letter", True): (792, 612),
        ("A2", False): (1191, 1684),
        ("A2", True): (1684, 1191),
    }


def test_fonts_travel_inside(tmp_path):
    import subprocess
    from shutil import which

    if which("pdffonts") is None:
        pytest.skip("no pdffonts to list them with")
    path = handout.pdf(everything(nasty.SCRIPTS), tmp_path / "page.pdf")
    listed = subprocess.run(["pdffonts", path], capture_output=True, check=True, text=True).stdout
    embedded = [re.search(r"\b(yes|no) (yes|no) (yes|no)\b", row) for row in listed.split("\n")[2:]]
    assert embedded
    assert all(found[1] == "yes" for found in embedded if found)


def test_pdf_repeats_byte_for_byte(tmp_path):
    one = handout.pdf(everything("plain"), tmp_path / "one.pdf").read_bytes()
    assert one == handout.pdf(everything("plain"), tmp_path / "two.pdf").read_bytes()


def test_refusals_say_what_to_do(tmp_path):
    with pytest.raises(InputError, match=r"Papers: A4, Letter"):
        handout.Page("x", (), paper="A5")
    with pytest.raises(InputError, match=r"\.pdf or \.html"):
        handout.write(handout.Page("x", ()), tmp_path / "x.docx")
    with pytest.raises(InputError, match="PNG, JPEG or SVG"):
        handout.logo(tmp_path / "logo.gif")
    with pytest.raises(InputError, match="no such file"):
        handout.logo(tmp_path / "logo.png")
    (tmp_path / "logo.png").write_bytes(b"not a picture")
    with pytest.raises(InputError, match="no PNG picture"):
        handout.logo(tmp_path / "logo.png")
    assert handout.logo("") is None


def test_a_shared_page_carries_its_figure_and_its_table(tmp_path):
    lab = stand_in.lab(["a"], [(45, 42, 30)], group="g")
    page = handout.share_page("Iron", "It moved.", plane.figure(lab), lab[["swatch", "L"]])
    source = handout.write(page, tmp_path / "share.html").read_text(encoding="utf-8")
    assert "Plotly.newPlot" in source
    assert source.count("</script>") == 3
    assert "45.00" in source
