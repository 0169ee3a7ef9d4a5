"""The readable summary: order, honesty, and that every percentage carries what it rests on."""

import dataclasses
import io
import re

import pytest
from rich.console import Console

from service.contract import Refused, document
from service.details import detail_lines
from service.look import Request, look
from service.risks import cautions, risks
from service.summary import headline, print_summary
from service.words import (
    call_words,
    core_words,
    edge_only,
    listing,
    odds,
    part_names,
    percent,
    some,
    sure_line,
)
from tests.service.chest import ChestEngine, chest_photo


@pytest.fixture(scope="module")
def assessment(tmp_path_factory):
    file = chest_photo(tmp_path_factory.mktemp("p") / "chest.jpg")
    return look(Request((str(file),)), ChestEngine()).assessment


@pytest.fixture(scope="module")
def doc(assessment):
    return document(assessment, [Refused(file="bad.jpg", cause="It is empty.", remedy="Take it again.")])


def printed(doc, width=100, notes=()):
    out = io.StringIO()
    print_summary(doc, Console(file=out, width=width), notes)
    return out.getvalue()


def test_risk_comes_before_parts_before_next_before_care(doc):
    text = printed(doc, notes=["a.jpg is the same picture as b.jpg; it was used once."])
    order = ["parts in 1 photo", "Not used: bad.jpg", "Note: a.jpg", "What could cost you", "Part by part", "Look here next",
             "Before you start work"]
    places = [text.index(words) for words in order]
    assert places == sorted(places)


def test_the_costliest_risk_leads(doc):
    lines = risks(doc)
    assert lines[0].key == "printed" and "Drawer fronts" in lines[0].title
    assert [r.weight for r in lines] == sorted((r.weight for r in lines), reverse=True)


def test_an_open_top_is_called_open_and_both_candidates_named(doc):
    top = next(p for p in doc.parts if p.role == "top")
    assert call_words(top, edge_only(doc, top)).startswith("cannot tell: ")
    assert {"solid wood", "wood veneer"} <= set(re.split(r": | or |, ", call_words(top, False)))
    assert "likely" not in sure_line(top)


def test_every_percentage_stands_with_its_basis(doc):
    """Wherever the summary shows a percentage, what it rests on is named in the same block."""
    blocks = re.split(r"\n(?=\S)|\n(?=  \S)", printed(doc, width=400))
    head = "What could cost you (calibrated on 412 real specimens, taught with renders too)"
    assert head in printed(doc, width=400)
    for block in blocks:
        if "How sure" in block and "%" in block:
            assert "calibrated on 412 real specimens, taught with renders too" in block


def test_renders_only_says_so_plainly(assessment):
    model = dataclasses.replace(assessment.model, basis="rendered", real_specimens=0)
    text = printed(document(dataclasses.replace(assessment, model=model)), width=300)
    assert "calibrated on renders only" in text and "not been checked on real furniture" in text


def test_no_part_found(assessment):
    empty = document(dataclasses.replace(assessment, photos=(), parts=(), findings=(), next=()))
    assert headline(empty) == "None of the photos could be used."
    assert cautions(empty) == [] and risks(empty) == []
    assert "%" not in printed(empty)


def test_an_edge_alone_answers_for_the_core(doc):
    lip = next(q for q in doc.photos[0].panels if q.view == "edge")
    assert edge_only(doc, lip)
    assert call_words(lip, True) == "edge only, core: particle board"
    assert sure_line(lip, True).startswith("particle board 90 %")


def test_a_core_out_of_view_is_not_guessed(doc):
    fronts = next(p for p in doc.parts if p.role == "drawer_front")
    assert core_words(fronts) == "not in view"


def test_cautions_follow_what_is_likely(doc):
    assert [c.key for c in cautions(doc)] == ["lead", "dust", "rags", "insects", "tip"]


def test_damage_pointed_out_is_no_risk_line(doc):
    """Too many sound panels are wronged (training.detail_rates) to head the page with it."""
    assert any(d.kind == "chip" for p in doc.photos for q in p.panels for d in q.details)
    assert all("missing chip" not in (r.title + r.text).lower() for r in risks(doc))


def test_what_is_seen_besides_is_told_with_what_its_chances_rest_on(doc):
    text = " ".join(printed(doc).split())
    assert "Damage (high), panel front1" in text and "Narrow side (chance 90 %), panel lip" in text
    assert text.index("Part by part") < text.index("Seen besides") < text.index("Look here next")
    assert "made-up pictures" in text


def test_damage_leads_the_list_and_what_matters_most_leads_damage(doc):
    heads = [line.head for line in detail_lines(doc)]
    assert heads == ["Damage (high)", "Damage (low)", "Narrow side (chance 90 %)"]


def test_names_of_parts(doc):
    assert part_names(doc) == {"top": "Top", "side": "Side", "drawer_front": "Drawer fronts"}


def test_a_part_without_a_role_goes_by_the_name_on_the_picture(doc):
    part = doc.parts[0].model_copy(update={"role": "unknown"})
    assert part_names(doc.model_copy(update={"parts": [part]})) == {"top": "Panel top"}


def test_narrow_terminal_keeps_all_words(doc):
    # A long path has to break somewhere; names as people give them do not.
    doc = doc.model_copy(update={"photos": [p.model_copy(update={"file": "chest.jpg"}) for p in doc.photos]})
    wide, narrow = printed(doc, width=300), printed(doc, width=40)
    assert set(re.findall(r"\w+", wide)) == set(re.findall(r"\w+", narrow))
    assert max(map(len, narrow.splitlines())) <= 40


@pytest.mark.parametrize(("p", "words"), [
    (0.0, "0 %"), (0.004, "under 1 %"), (0.5, "50 %"), (0.996, "over 99 %"), (1.0, "100 %"),
])
def test_percent_never_rounds_to_certainty(p, words):
    assert percent(p) == words


@pytest.mark.parametrize(("decibans", "words"), [(0, "1.0 to 1"), (10, "10 to 1"), (20, "100 to 1"), (3.0103, "2.0 to 1")])
def test_odds_are_ten_log_ten(decibans, words):
    assert odds(decibans) == words


def test_small_words():
    assert (listing([]), listing(["a"]), listing(["a", "b", "c"])) == ("", "a", "a, b or c")
    assert some(list("abcd")) == "a, b, c and d" and some(list("abcdef")) == "a, b, c and 3 more"
