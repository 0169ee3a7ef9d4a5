"""A standing in words and JSON: never called clear, deal-breakers alone, open questions named."""

import json

from hypothesis import given, settings

from service.gate.report import ESTIMATE, ONLY_LOOKED, SAFE, document, lines_of
from service.gate.rules import VERDICTS
from tests.service.gate.given import CLEAN, GATE, QUESTIONS, answers


def text(said):
    return "\n".join(lines_of(GATE.judged(said), GATE.rules))


@settings(max_examples=60, deadline=None)
@given(answers)
def test_words_and_json_say_the_same_and_nothing_is_called_clear(said):
    standing = GATE.judged(said)
    found = json.loads(json.dumps(document(standing, GATE.rules, GATE.next_question(said))))
    printed = text(said)
    assert found["schema"] == "grainassay.gate/1.0" and found["verdict"] == standing.verdict
    assert SAFE in printed and "all clear" not in printed
    assert {n["question"] for n in found["not_looked"]} | set(found["looked"]) == {q.key for q in QUESTIONS}
    if standing.looked:
        assert VERDICTS[standing.verdict] in printed
    if standing.money_talk and standing.looked:
        assert ONLY_LOOKED in printed
        assert all(u.question.name in printed for u in standing.unknown)
        assert (ESTIMATE in printed) == bool(standing.reasons)
    for reason in found["reasons"]:
        if standing.money_talk or reason["verdict"] == "walk_away":
            assert reason["reason"] in printed and reason["do"] in printed
        assert reason["sources"]
    assert (found["hours"] is None) == (not standing.money_talk) == (found["share"] is None)


def test_nothing_answered_is_nothing_known():
    assert "nothing is known" in text({}) and "nothing found" not in text({})
    assert "nothing is known" in text({QUESTIONS[0].key: "cannot_say"})


def test_all_answered_well_is_still_only_a_look():
    printed = text(CLEAN)
    assert "nothing found so far" in printed and ONLY_LOOKED in printed and "open" not in printed


def test_walking_away_is_told_alone():
    printed = text({"bed_bugs": "live", "legs": "split", "drawers": "stick"})
    assert "Do not carry it home" in printed and "no talk of money" in printed
    for other in ("adds hours", "USD", "glue", "wax", "estimate"):
        assert other not in printed


def test_what_follows_is_in_the_document_with_answers_that_are_always_possible():
    following = document(GATE.judged({}), GATE.rules, QUESTIONS[0])["next"]
    assert following["key"] == QUESTIONS[0].key and following["place"] == QUESTIONS[0].place
    assert [(a["key"], a["letter"]) for a in following["answers"]][-2:] == [("cannot_say", "?"), ("not_looked", "-")]
    assert document(GATE.judged(CLEAN), GATE.rules)["next"] is None


def test_open_questions_and_the_worst_they_can_bring_are_named():
    printed = text({**CLEAN, "bed_bugs": "cannot_say", "drawers": "not_looked"})
    assert "cannot tell: bed bugs" in printed and "not looked: drawers" in printed
    assert "The worst they can still bring: walk away." in printed
    assert "The worst they can still bring: discount." in text({**CLEAN, "drawers": "not_looked"})
