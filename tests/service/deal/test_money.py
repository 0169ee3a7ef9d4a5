"""Buy or leave: closed forms, textbook value of information, and what must hold whatever is put in."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.deal.inputs import Check, Deal, Outcome, parse, read
from service.deal.money import CAUTIOUS, best, judged, worth_of
from vision.errors import UsageError

SAMPLE = Path(__file__).resolve().parents[3] / "docs" / "deal.toml"


def deal(**more):
    plain = {"currency": "EUR", "asked": 50.0, "travel": 10.0, "travel_hours": 1.0, "rate": 20.0, "fees": 0.1, "delivery": 0.0,
             "returns": 0.0, "unsold": 0.0, "unsold_value": 0.0,
             "outcomes": (Outcome("good", 0.5, (2, 2, 2), (20, 20, 20), (300, 300, 300)),
                          Outcome("bad", 0.5, (2, 2, 2), (20, 20, 20), (60, 60, 60))), "checks": ()}
    return Deal(**(plain | more))


def test_certain_numbers_by_hand():
    """300 less a tenth, 50 price, 10 travel, 20 materials: 190, and 3 hours at 20: 130. The bad one: 60 - 6 - 80 = -26, -86."""
    found = judged(deal())
    assert found.by_outcome == {"good": pytest.approx(130), "bad": pytest.approx(-86)}
    assert found.after_labour.mean == pytest.approx((130 - 86) / 2, abs=found.error + 0.1)
    assert found.profit.mean == pytest.approx((190 - 26) / 2, abs=2)
    assert found.loss == pytest.approx(0.5, abs=0.01)
    assert found.offer == pytest.approx(50 + 22)
    assert found.per_hour.high == pytest.approx(190 / 3)


def test_mean_of_triangles():
    """A triangular law has the mean of its three numbers."""
    one = deal(outcomes=(Outcome("it", 1.0, (1, 2, 6), (10, 20, 60), (100, 200, 240)),), fees=0.0)
    found = judged(one)
    assert found.after_labour.mean == pytest.approx(180 - 50 - 10 - 30 - 20 * (3 + 1), abs=found.error + 0.2)


def test_perfect_information_is_worth_what_the_textbook_says():
    """Expected value with perfect information less that of the best act without: 0.5 x 130 - max(0, 22) = 43."""
    perfect = Check("opened", 0.0, {"good": 1.0, "bad": 0.0})
    worth = worth_of(perfect, deal(), {"good": 180.0, "bad": -36.0})
    assert worth.value == pytest.approx(0.5 * 130 - 22) and worth.change == pytest.approx(0.5)


def test_a_check_that_tells_nothing_costs_its_minutes():
    idle = Check("idle", 30.0, {"good": 0.5, "bad": 0.5})
    assert worth_of(idle, deal(), {"good": 180.0, "bad": -36.0}).value == pytest.approx(-10)
    assert best((worth_of(idle, deal(), {"good": 180.0, "bad": -36.0}),)) is None


@settings(max_examples=60, deadline=None)
@given(st.floats(0, 1), st.floats(0, 1), st.floats(-300, 300), st.floats(-300, 300), st.floats(0.01, 0.99))
def test_information_never_hurts(a, b, good, bad, chance):
    made = deal(outcomes=(replace(deal().outcomes[0], chance=chance), replace(deal().outcomes[1], chance=1 - chance)))
    worth = worth_of(Check("c", 0.0, {"good": a, "bad": b}), made, {"good": good + 50, "bad": bad + 50})
    perfect = worth_of(Check("p", 0.0, {"good": 1.0, "bad": 0.0}), made, {"good": good + 50, "bad": bad + 50})
    assert -1e-9 <= worth.value <= perfect.value + 1e-9 and 0 <= worth.change <= 1 + 1e-9


@settings(max_examples=20, deadline=None)
@given(st.floats(0, 200), st.floats(1, 100), st.sampled_from(["asked", "travel", "rate", "unsold", "fees"]))
def test_dearer_is_never_better(asked, more, what):
    less = deal(asked=asked)
    worse = replace(less, **{what: min(1.0, getattr(less, what) + more / 100) if what in ("unsold", "fees")
                             else getattr(less, what) + more})
    a, b = judged(less, draws=3000), judged(worse, draws=3000)
    assert b.after_labour.mean <= a.after_labour.mean + 1e-9 and b.loss >= a.loss


def test_the_cautious_offer_keeps_its_promise():
    found = judged(read(SAMPLE))
    at = judged(replace(read(SAMPLE), asked=found.cautious))
    assert at.loss <= CAUTIOUS + 0.01 or found.cautious == 0
    assert found.cautious <= found.offer + 1 or found.loss < CAUTIOUS


def test_the_sample_file_is_judged_and_names_the_check_worth_most():
    found = judged(read(SAMPLE))
    assert found.worth[0].check == "top edge of a drawer front"
    assert found.by_outcome["solid"] > found.by_outcome["veneer"] > found.by_outcome["print"]
    assert np.isfinite([found.offer, found.cautious, found.loss]).all()


@pytest.mark.parametrize(("old", "new", "says"), [
    ("asked = 60", "", "asked"), ("chance = 0.35", "chance = 0.5", "add up"), ("hours = [4, 5, 8]", "hours = [8, 5, 4]", "solid"),
    ("hours = [4, 5, 8]", 'hours = "long"', "hours"), ("fees_percent = 8", "fees_percent = 180", "fees"),
    ("rate = 18", "rate = -1", "rate"), ("print = 0.02", "plastic = 0.02", "top edge"), ("currency", "[[", "cannot be read"),
    ('name = "veneer"', 'name = "solid"', "same name"), ("solid = 0.85", "solid = 1.5", "top edge"),
    ("asked = 60", 'asked = "dear"', "no number"), ("sale = [50, 110]", "sale = [50, inf]", "print"),
])
def test_files_that_make_no_sense_are_refused_by_name(old, new, says):
    text = SAMPLE.read_text()
    assert old in text
    with pytest.raises(UsageError, match=says):
        parse(text.replace(old, new, 1), "deal.toml")


def test_a_file_that_is_not_there_is_named(tmp_path):
    with pytest.raises(UsageError, match=r"gone\.toml"):
        read(tmp_path / "gone.toml")


def test_every_day_it_is_kept_costs():
    """Thirty days at a price a day lower the mean by just that."""
    plain = deal()
    kept = replace(plain, holding=0.5, days=(30.0, 30.0, 30.0))
    assert judged(plain).profit.mean - judged(kept).profit.mean == pytest.approx(15.0, abs=1e-6)


def test_a_file_without_days_reads_as_before():
    lines = [line for line in SAMPLE.read_text().splitlines() if not line.startswith(("days_held", "holding_a_day"))]
    assert len(lines) == len(SAMPLE.read_text().splitlines()) - 2
    old = parse("\n".join(lines), "deal.toml")
    assert (old.days, old.holding) == ((0.0, 0.0, 0.0), 0.0)
    assert judged(old, draws=2000).profit.mean >= judged(read(SAMPLE), draws=2000).profit.mean


@pytest.mark.parametrize(("old", "new"), [("days_held = [7, 21, 60]", "days_held = [60, 21, 7]"),
                                          ("days_held = [7, 21, 60]", "days_held = [-1, 2]"),
                                          ("holding_a_day = 0.3", "holding_a_day = -0.3")])
def test_days_that_make_no_sense_are_refused(old, new):
    text = SAMPLE.read_text()
    assert old in text
    with pytest.raises(UsageError, match=r"days_held|holding"):
        parse(text.replace(old, new, 1), "deal.toml")
