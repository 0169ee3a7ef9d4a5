"""Answers at the gate as hypothesis makes them."""

from hypothesis import strategies as st

from service.gate.ask import OPEN
from service.gate.standing import gate

GATE = gate()
QUESTIONS = GATE.rules.questions
CLEAN = {q.key: next(a.key for a in q.answers if a.leads_to is None) for q in QUESTIONS}
DEAL_BREAKERS = [(q.key, a.key) for q in QUESTIONS for a in q.answers if a.leads_to and a.leads_to.verdict == "walk_away"]
answers = st.fixed_dictionaries({}, optional={q.key: st.sampled_from([*(a.key for a in q.answers), *OPEN]) for q in QUESTIONS})
question = st.sampled_from(QUESTIONS)
unanswered = st.sampled_from([None, *OPEN])


def put(said, key, answer):
    """The answers with one changed, or taken out where `answer` is None."""
    rest = {k: v for k, v in said.items() if k != key}
    return rest if answer is None else {**rest, key: answer}
