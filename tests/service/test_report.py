"""The report page: self-contained, well-formed, accessible, and saying what the document says."""

import colorsys
import html.parser
import itertools
import re

import pytest

from service.contract import Refused, document
from service.look import Request, look
from service.pictures import PICTURE_PX, evidence_pictures
from service.report import report_html
from service.words import finding_numbers
from tests.service.chest import ChestEngine, chest_photo

VOID = {"meta", "img", "br", "link", "hr", "input", "rect", "line", "circle", "path"}


class Page(html.parser.HTMLParser):
    """Collects tags and checks that they nest."""

    def __init__(self):
        super().__init__()
        self.stack, self.tags, self.text, self.faults = [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.stack.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if not self.stack or self.stack.pop() != tag:
            self.faults.append(tag)

    def handle_data(self, data):
        if not self.stack or self.stack[-1] not in ("style", "title"):
            self.text.append(data)


def read(source):
    page = Page()
    page.feed(source)
    assert page.faults == [] and page.stack == []
    return page


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("p")
    files = tuple(str(chest_photo(folder / f"chest{n}.jpg", n)) for n in range(2))
    assessment = look(Request(files), ChestEngine()).assessment
    doc = document(assessment, [Refused(file="<b>bad</b>.jpg", cause="It is empty.", remedy="Take it again.")])
    pictures = evidence_pictures(assessment, doc)
    return doc, pictures, report_html(doc, pictures, ["A note & more."])


def test_nothing_is_fetched_and_nothing_runs(made):
    page = read(made[2])
    assert not {t for t, _ in page.tags} & {"script", "link", "iframe", "object"}
    for tag, attrs in page.tags:
        for key in ("src", "href"):
            assert key not in attrs or attrs[key].startswith(("data:", "#")), (tag, attrs)
        assert not [k for k in attrs if k.startswith("on")]
    assert "http" not in re.sub(r"data:[^\"]+", "", made[2]) and "url(" not in made[2]


def test_names_of_files_are_escaped(made):
    assert "<b>bad</b>" not in made[2] and "&lt;b&gt;bad" in made[2] and "A note &amp; more." in made[2]


def test_accessible_structure(made):
    page = read(made[2])
    assert dict(page.tags)["html"]["lang"] == "en"
    levels = [int(t[1]) for t, _ in page.tags if re.fullmatch(r"h\d", t)]
    assert levels.count(1) == 1 and levels[0] == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))
    pictures = [a for t, a in page.tags if t == "img"]
    assert len(pictures) == 2 and all(len(a["alt"]) > 20 for a in pictures)
    drawings = [a for t, a in page.tags if t == "svg"]
    assert len(drawings) == len(made[0].parts) and all(a["role"] == "img" and a["aria-label"] for a in drawings)
    ids = [a["id"] for _, a in page.tags if "id" in a]
    assert len(ids) == len(set(ids))
    assert all(a["aria-labelledby"] in ids for t, a in page.tags if t == "section")


def luminance(colour):
    """Relative luminance of WCAG 2.1."""
    parts = [int(colour[n:n + 2], 16) / 255 for n in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def test_contrast_of_text_is_at_least_4_5(made):
    named = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", made[2]))
    for ink in ("ink", "soft", "known", "open", "care"):
        for ground in ("paper", "card"):
            light, dark = luminance(named[ground]), luminance(named[ink])
            assert (light + 0.05) / (dark + 0.05) >= 4.5, (ink, ground)
    assert colorsys.rgb_to_hls(*(int(named["ink"][n:n + 2], 16) / 255 for n in (1, 3, 5)))[1] < 0.2


def test_every_finding_has_the_number_the_pictures_use(made):
    doc, _, source = made
    numbers = finding_numbers(doc)
    table = source[source.index('id="findings"'):]
    for f in doc.findings:
        row = re.search(rf'<span class="num">{numbers[f.id]}</span></td><td>{re.escape(f.text)}', table)
        assert row, f.text


def test_probabilities_stand_with_their_basis(made):
    """Every card and every table with percentages names the calibration."""
    source = made[2]
    cards = re.findall(r'<article class="part">.*?</article>', source, re.S)
    assert len(cards) == len(made[0].parts)
    for card in cards:
        assert "%" in card and "Calibrated on 412 real specimens, taught with renders too" in card
    for name in ("risk", "panels"):
        section = re.search(rf'<section aria-labelledby="{name}">.*?</section>', source, re.S).group(0)
        assert "calibrated on 412 real specimens, taught with renders too" in section


def test_pictures_fit_a_phone_and_open(made):
    import io

    from PIL import Image

    for data in made[1].values():
        with Image.open(io.BytesIO(data)) as im:
            assert im.format == "JPEG" and im.width <= PICTURE_PX


def test_an_assessment_of_nothing_still_makes_a_page(made):
    doc = made[0].model_copy(update={"photos": [], "parts": [], "findings": [], "next": []})
    page = read(report_html(doc, {}))
    assert "None of the photos could be used" in "".join(page.text)
