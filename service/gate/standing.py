"""Where a piece stands at the gate: the next question, and the verdict of the answers given so far."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.deal.inputs import Three
from service.gate.ask import CANNOT_SAY, NOT_LOOKED, OPEN
from service.gate.rules import NOTHING, RANK, VERDICTS, WHOLE, Answer, Consequence, Question, Rules, rules
from vision.errors import UsageError


@dataclass(frozen=True)
class Reason:
    """An answer that tells against the piece."""

    question: Question
    answer: Answer
    found: Consequence


@dataclass(frozen=True)
class Unknown:
    """A question that clears nothing. `why`: CANNOT_SAY or NOT_LOOKED."""

    question: Question
    why: str


@dataclass(frozen=True)
class Standing:
    """A piece at the gate. `verdict`, `could_be`: keys of VERDICTS, as answered and the worst that the unanswered may still
    bring; `reasons`: worst first; `hours`, `materials`: added (least, likeliest, most), `share`: of the usual sale price that is
    left; `looked`: questions answered; `unknown`: those that were not."""

    verdict: str
    could_be: str
    reasons: tuple[Reason, ...]
    hours: Three
    materials: Three
    share: Three
    currency: str
    looked: tuple[Question, ...]
    unknown: tuple[Unknown, ...]

    @property
    def rank(self) -> int:
        """Place in VERDICTS, 0 the best."""
        return RANK[self.verdict]

    @property
    def money_talk(self) -> bool:
        """Whether there is any point in talking of money."""
        return self.verdict != "walk_away"

    @property
    def hazards(self) -> tuple[str, ...]:
        """What the reasons can do to someone, each once."""
        return tuple(dict.fromkeys(h for r in self.reasons for h in r.found.hazards))


def _worst(threes: Sequence[Three]) -> Three:
    return max(t[0] for t in threes), max(t[1] for t in threes), max(t[2] for t in threes)


def _added(reasons: Sequence[Reason], name: str) -> Three:
    """Sum over the works; of the same work only the largest counts, since it is done once."""
    works: dict[str, list[Three]] = {}
    for r in reasons:
        works.setdefault(r.found.work, []).append(getattr(r.found, name))
    low, likeliest, high = NOTHING
    for threes in works.values():
        a, b, c = _worst(threes)
        low, likeliest, high = low + a, likeliest + b, high + c
    return low, likeliest, high


def _share(reasons: Sequence[Reason]) -> Three:
    """Product over the works; of the same work the lowest counts."""
    works: dict[str, Three] = {}
    for r in reasons:
        a, b = works.get(r.found.work, WHOLE), r.found.share
        works[r.found.work] = (min(a[0], b[0]), min(a[1], b[1]), min(a[2], b[2]))
    low, likeliest, high = WHOLE
    for a in works.values():
        low, likeliest, high = low * a[0], likeliest * a[1], high * a[2]
    return low, likeliest, high


@dataclass(frozen=True)
class Gate:
    """The gate under some rules."""

    rules: Rules

    def _checked(self, answers: Mapping[str, str]) -> None:
        known = {q.key: q for q in self.rules.questions}
        for key, answer in answers.items():
            if key not in known:
                raise UsageError(key, "is no question of the gate.", "Questions are: " + ", ".join(known) + ".")
            if answer not in OPEN and known[key].answer(answer) is None:
                choices = [a.key for a in known[key].answers]
                raise UsageError(key, f"{answer!r} is no answer to it.", "Answers are: " + ", ".join([*choices, *OPEN]) + ".")

    def _reasons(self, answers: Mapping[str, str]) -> tuple[Reason, ...]:
        found = []
        for question in self.rules.questions:
            answer = question.answer(answers.get(question.key, NOT_LOOKED))
            if answer is not None and answer.leads_to is not None:
                found.append(Reason(question, answer, answer.leads_to))
        return tuple(sorted(found, key=lambda r: -r.answer.rank))

    def next_question(self, answers: Mapping[str, str]) -> Question | None:
        """The first question without an answer; None at the first deal-breaker and when none is left.

        Raises
        ------
        UsageError
            for a question or an answer that is not there.
        """
        self._checked(answers)
        if any(r.found.verdict == "walk_away" for r in self._reasons(answers)):
            return None
        return next((q for q in self.rules.questions if q.key not in answers), None)

    def judged(self, answers: Mapping[str, str]) -> Standing:
        """Where the piece stands; the order of the answers does not matter. Unanswered, cannot tell and not looked clear nothing.

        Raises
        ------
        UsageError
            for a question or an answer that is not there.
        """
        self._checked(answers)
        reasons = self._reasons(answers)
        looked = tuple(q for q in self.rules.questions if answers.get(q.key, NOT_LOOKED) not in OPEN)
        unknown = tuple(Unknown(q, CANNOT_SAY if answers.get(q.key) == CANNOT_SAY else NOT_LOOKED)
                        for q in self.rules.questions if q not in looked)
        verdict = max((r.answer.rank for r in reasons), default=0)
        could_be = max([verdict, *(u.question.worst for u in unknown)])
        names = list(VERDICTS)
        return Standing(names[verdict], names[could_be], reasons, _added(reasons, "hours"), _added(reasons, "materials"),
                        _share(reasons), self.rules.currency, looked, unknown)


def said(answers: Mapping[str, str], says: Sequence[str]) -> dict[str, str]:
    """Answers with those added that are written as QUESTION=ANSWER; a later one replaces an earlier.

    Raises
    ------
    UsageError
        for what is not written so.
    """
    found = dict(answers)
    for text in says:
        question, equals, answer = (t.strip() for t in text.partition("="))
        if not equals:
            raise UsageError("--say", f"{text!r} is not a question with its answer.", "Write it as in: --say mould=musty")
        found.pop(question, None)
        found[question] = answer
    return found


def gate() -> Gate:
    """The gate under the packaged rules."""
    return Gate(rules())
