"""Files of rules: read once, checked, each row with a source."""

from pathlib import Path

import pytest

from service.rulebook import BrokenRules, parse, rulebook

GOOD = '[sources.a]\ntitle = "A handbook"\nstatus = "seen"\n[[rows]]\nvalue = 1\nsource = "a"\n'


def test_all_packaged_rules_hold_together():
    folder = Path(__file__).resolve().parents[2] / "service" / "rules"
    names = [p.stem for p in folder.glob("*.toml")]
    assert "wood" in names
    for name in names:
        book = rulebook(name)
        assert book.sources and book.tables


def test_a_row_leads_to_its_source():
    book = parse("x.toml", GOOD)
    assert book.source(book.tables["rows"][0]).words == "A handbook (seen there or in a copy of it)"


@pytest.mark.parametrize(("text", "says"), [
    ("[[", "cannot be read"),
    (GOOD.replace('source = "a"', 'source = "b"'), "does not list: b"),
    (GOOD.replace('"seen"', '"surely"'), "title and a status"),
    (GOOD.replace("A handbook", ""), "title and a status"),
    (GOOD + '[deep]\ninner = {source = "c"}\n', "does not list: c"),
    (GOOD + 'moisture_source = "d"\n', "does not list: d"),
])
def test_broken_rules_are_refused_by_name(text, says):
    with pytest.raises(BrokenRules, match=says) as err:
        parse("x.toml", text)
    assert "x.toml" in str(err.value)
