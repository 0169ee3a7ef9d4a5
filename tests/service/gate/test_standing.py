"""Standing at the gate: what is unanswered clears nothing, order does not matter, a deal-breaker outweighs everything."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.gate.ask import CANNOT_SAY, NOT_LOOKED, OPEN
from service.gate.rules import RANK
from tests.service.gate.given import CLEAN, DEAL_BREAKERS, GATE, QUESTIONS, answers, put, question, unanswered
from vision.errors import UsageError

quick = settings(max_examples=120, deadline=None)


def no_better(worse, better):
    assert RANK[worse.verdict] >= RANK[better.verdict]
    assert all(a >= b for a, b in zip(worse.hours + worse.materials, better.hours + better.materials, strict=True))
    assert all(a <= b for a, b in zip(worse.share, better.share, strict=True))


@quick
@given(answers, question, unanswered)
def test_an_unanswered_question_never_improves_a_standing(said, q, nothing):
    left_open = GATE.judged(put(said, q.key, nothing))
    no_better(left_open, GATE.judged(put(said, q.key, CLEAN[q.key])))
    assert q.key in {u.question.key for u in left_open.unknown} and q not in left_open.looked
    for a in q.answers:
        assert RANK[left_open.could_be] >= RANK[GATE.judged(put(said, q.key, a.key)).could_be]


@quick
@given(answers, question, st.data())
def test_a_bad_answer_never_improves_one_either(said, q, data):
    bad = data.draw(st.sampled_from([a.key for a in q.answers if a.leads_to]))
    no_better(GATE.judged(put(said, q.key, bad)), GATE.judged(put(said, q.key, data.draw(unanswered))))


@quick
@given(answers, st.randoms())
def test_the_order_of_answers_does_not_matter(said, luck):
    shuffled = list(said.items())
    luck.shuffle(shuffled)
    assert GATE.judged(dict(shuffled)) == GATE.judged(said)
    assert GATE.next_question(dict(shuffled)) == GATE.next_question(said)


@quick
@given(answers, st.sampled_from(DEAL_BREAKERS))
def test_a_deal_breaker_outweighs_everything_and_ends_the_questions(said, breaker):
    found = GATE.judged(put(said, *breaker))
    assert found.verdict == found.could_be == "walk_away" and not found.money_talk
    assert found.reasons[0].found.verdict == "walk_away"
    assert GATE.next_question(put(said, *breaker)) is None


@quick
@given(answers)
def test_verdict_is_that_of_the_worst_answer_and_reasons_come_worst_first(said):
    found = GATE.judged(said)
    ranks = [r.answer.rank for r in found.reasons]
    assert ranks == sorted(ranks, reverse=True) and found.rank == max(ranks, default=0)
    assert len(found.looked) + len(found.unknown) == len(QUESTIONS)
    assert all(low <= mode <= high for low, mode, high in (found.hours, found.materials, found.share))


def test_questions_come_in_order_and_none_is_left_when_all_are_answered():
    said, asked = {}, []
    while (q := GATE.next_question(said)) is not None:
        asked.append(q)
        said[q.key] = CLEAN[q.key]
    assert tuple(asked) == QUESTIONS
    found = GATE.judged(said)
    assert found.verdict == found.could_be == "clear_so_far" and not found.unknown and not found.reasons


@pytest.mark.parametrize("nothing", list(OPEN))
def test_a_question_passed_over_is_not_asked_again_and_stays_open(nothing):
    first = QUESTIONS[0]
    assert GATE.next_question({first.key: nothing}) == QUESTIONS[1]
    found = GATE.judged({**CLEAN, first.key: nothing})
    assert [(u.question, u.why) for u in found.unknown] == [(first, nothing)] and found.could_be == "walk_away"
    assert GATE.judged({}).unknown[0].why == NOT_LOOKED != CANNOT_SAY


def test_the_same_work_is_done_once_and_different_work_adds_up():
    urine, smoke, legs = ({"urine": "wood"}, {"smoke": "strong"}, {"legs": "split"})
    one, other, third = (GATE.judged(a) for a in (urine, smoke, legs))
    both = GATE.judged({**urine, **smoke})
    assert both.hours == tuple(max(a, b) for a, b in zip(one.hours, other.hours, strict=True))
    apart = GATE.judged({**urine, **legs})
    assert apart.hours == pytest.approx([a + b for a, b in zip(one.hours, third.hours, strict=True)])
    assert GATE.judged({**smoke, "woodworm": "old"}).share == pytest.approx((0.6 * 0.7, 0.8 * 0.85, 1))


@pytest.mark.parametrize(("said", "says"), [({"ghosts": "yes"}, "no question"), ({"mould": "purple"}, "no answer")])
def test_questions_and_answers_that_are_not_there_are_refused(said, says):
    for call in (GATE.judged, GATE.next_question):
        with pytest.raises(UsageError, match=says):
            call(said)
