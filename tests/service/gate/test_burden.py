"""What the gate adds to a deal, and that there is none where one should walk away."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.deal.inputs import Deal, Outcome
from service.deal.money import judged
from service.gate.burden import NoMoneyTalk, burden, merged
from tests.service.gate.given import CLEAN, DEAL_BREAKERS, GATE, answers, put
from vision.errors import UsageError

DEAL = Deal("USD", 60, 5, 0.5, 20, 0.1, 0, 0.05, 0.1, 10,
            (Outcome("oak", 0.6, (3, 5, 8), (20, 30, 50), (200, 260, 340)),
             Outcome("print", 0.4, (2, 3, 5), (15, 20, 30), (60, 90, 120))), ())


@settings(max_examples=60, deadline=None)
@given(answers)
def test_a_deal_never_gains_from_what_the_gate_found(said):
    standing = GATE.judged(said)
    if not standing.money_talk:
        with pytest.raises(NoMoneyTalk):
            merged(DEAL, standing)
        return
    for before, after in zip(DEAL.outcomes, merged(DEAL, standing).outcomes, strict=True):
        assert all(b >= a for a, b in zip(before.hours + before.materials, after.hours + after.materials, strict=True))
        assert all(b <= a for a, b in zip(before.sale, after.sale, strict=True)) and after.chance == before.chance


def test_what_is_found_nowhere_changes_nothing():
    assert merged(DEAL, GATE.judged(CLEAN)) == DEAL
    assert burden(GATE.judged({})) == ((0, 0, 0), (0, 0, 0))


def test_worked_example():
    """Strong tobacco: 2, 4, 8 h, 20, 35, 70 USD and 60, 80, 100 % of the price, as the rules say."""
    standing = GATE.judged({"smoke": "strong"})
    assert burden(standing) == ((2, 4, 8), (20, 35, 70))
    found = merged(DEAL, standing).outcomes[0]
    assert found.hours == (5, 9, 16) and found.materials == (40, 65, 120) and found.sale == pytest.approx((120, 208, 340))
    assert judged(merged(DEAL, standing)).after_labour.mean < judged(DEAL).after_labour.mean


@given(st.sampled_from(DEAL_BREAKERS), answers)
def test_walking_away_names_what_breaks_the_deal(breaker, said):
    with pytest.raises(NoMoneyTalk) as caught:
        burden(GATE.judged(put(said, *breaker)))
    assert "Nothing is reckoned" in caught.value.remedy


def test_other_money_needs_a_rate():
    abroad, standing = replace(DEAL, currency="EUR"), GATE.judged({"smoke": "strong"})
    with pytest.raises(UsageError, match="EUR"):
        merged(abroad, standing)
    assert merged(abroad, standing, exchange=0.5).outcomes[0].materials == (30, 47.5, 85)
    assert merged(abroad, GATE.judged(CLEAN)) == abroad
    for rate in (0, -1, float("nan")):
        with pytest.raises(UsageError):
            burden(standing, rate)
