"""The routine for one thumb: gate first, then over all parts the check that tells most for its time; it ends at the first
deal-breaker, when nothing worth asking is left, or when the time is over."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from service.check import fused_part, role_of
from service.contract import Document
from service.gate.rules import Question
from service.gate.standing import Standing, gate
from service.hand.belief import Fused
from service.hand.checks import Answer, Check, rules
from service.hand.state import Answers, Told
from service.hand.worth import OVERHEAD, best_pair
from service.plan.routes import why_not
from service.plan.types import GOALS, Refusal, Subject
from service.risks import EXPOSURE
from service.words import edge_only, part_names
from vision import registry
from vision.errors import UsageError

GATE = "gate"
#: Asked of without a photo, and at most so many parts of an assessment, those that everyone looks at first.
PARTS = ("top", "drawer_front", "side")
MOST_PARTS = 4
#: A goal that one of these does not allow breaks the deal.
MUST = ("top", "drawer_front", "door")
MINUTES = 3.0


@dataclass(frozen=True)
class Put:
    """A question as it is put. `key`: 'gate/mould' or 'top/hole'; `seconds`: what it takes; `place`: name of its drawing."""

    key: str
    text: str
    how: str
    answers: tuple[Answer, ...]
    seconds: float
    place: str
    bits: float | None = None


@dataclass(frozen=True)
class Breaker:
    """What ends it. `part`: None where it is the gate."""

    part: str | None
    words: str


@dataclass(frozen=True)
class Now:
    """Where it stands. `seconds`: spent by what the questions take; `why_over`: why nothing more is asked, empty while something
    is: broken, settled, time, or nothing."""

    answers: Answers
    standing: Standing
    fused: Mapping[str, Fused]
    breaker: Breaker | None
    seconds: float
    following: Put | None
    why_over: str


class Routine:
    """`goal`: what the user wants to do, None: not said; `minutes`: to spend; `parts`: ids to ask about, None: chosen."""

    def __init__(
        self, doc: Document | None = None, *, parts: Sequence[str] | None = None, goal: str | None = None,
        minutes: float = MINUTES,
    ) -> None:
        if goal is not None and goal not in GOALS:
            raise UsageError("goal", f"{goal!r} is not known.", "Use one of: " + ", ".join(GOALS) + ".")
        if not 0 < minutes <= 60:
            raise UsageError("minutes", f"{minutes} is no time to spend.", "Give minutes above 0, up to 60.")
        self.doc, self.goal, self.seconds = doc, goal, minutes * 60
        names = part_names(doc) if doc is not None else {}
        chosen = tuple(parts) if parts is not None else self._chosen()
        self.parts = {p: role_of(doc, p) for p in dict.fromkeys(chosen)}
        self.names = {p: names.get(p, p.replace("_", " ").capitalize()) for p in self.parts}
        self.gate, self.rules = gate(), rules()

    def _chosen(self) -> tuple[str, ...]:
        if self.doc is None:
            return PARTS
        found = [p for p in self.doc.parts if not edge_only(self.doc, p) and p.role not in ("unknown", "back")]
        found.sort(key=lambda p: -EXPOSURE.get(p.role, 1.0))
        return tuple(p.id for p in found[:MOST_PARTS]) or tuple(p.id for p in self.doc.parts[:1]) or PARTS

    def kept(self, said: Mapping[str, str], begun: Answers | None = None) -> Answers:
        """Flat answers ('part/check' -> answer) put into those begun before.

        Raises
        ------
        UsageError
            for a part that is not asked about.
        """
        out = begun or Answers()
        out = replace(out, gate={**out.gate, **{k.partition("/")[2]: a for k, a in said.items() if k.startswith(GATE + "/")}})
        for key, answer in said.items():
            part, _, check = key.partition("/")
            if part == GATE:
                continue
            if part not in self.parts:
                raise UsageError(key, "is about no part that is asked about.", "Parts are: " + ", ".join(self.parts) + ".")
            out = out.with_answer(part, self.parts[part], check, answer)
        return out

    def emptied(self, answers: Answers) -> Answers:
        """The same without what is asked here: weights, sizes and what is known for certain stay."""
        parts = {k: replace(t, answers={}) if k in self.parts else t for k, t in answers.parts.items()}
        return replace(answers, gate={}, parts=parts)

    def flat(self, answers: Answers) -> dict[str, str]:
        """The other way: 'part/check' -> answer, gate first, of the parts that are asked about."""
        out = {f"{GATE}/{k}": a for k, a in answers.gate.items()}
        for part in self.parts:
            told = answers.parts.get(part)
            out |= {f"{part}/{check}": a for check, a in told.answers.items()} if told is not None else {}
        return out

    def now(self, answers: Answers) -> Now:
        """Where it stands with these answers, and what to ask next."""
        standing = self.gate.judged(answers.gate)
        fused = {p: fused_part(self.doc, p, self._told(answers, p), self.rules) for p in self.parts}
        breaker = self._breaker(answers, standing, fused)
        spent = self._spent(answers)
        following, why = (None, "broken") if breaker is not None else self._following(answers, fused, spent)
        return Now(answers, standing, fused, breaker, spent, following, why)

    def _told(self, answers: Answers, part: str) -> Told:
        return answers.parts.get(part, Told(self.parts[part]))

    def _spent(self, answers: Answers) -> float:
        gate_seconds = {q.key: q.seconds for q in self.gate.rules.questions}
        spent = sum(gate_seconds[k] for k in answers.gate)
        for part in self.parts:
            spent += sum(self.rules.checks[c].seconds + OVERHEAD for c in self._told(answers, part).answers)
        return spent

    def _breaker(self, answers: Answers, standing: Standing, fused: Mapping[str, Fused]) -> Breaker | None:
        if not standing.money_talk:
            first = standing.reasons[0]
            return Breaker(None, f"{first.answer.words}: {first.found.reason}")
        for part, role in self.parts.items():
            found = self.refused(part, role, self._told(answers, part), fused[part])
            if found is not None and role in MUST:
                return Breaker(part, f"{self.names[part]}: {GOALS[found.goal]} is refused. {found.reason}")
        return None

    def refused(self, part: str, role: str, told: Told, fused: Fused) -> Refusal | None:
        """Whether the goal is refused on a part whose face has been named by hands; None while it is open."""
        face = told.confirmed[0] or (fused.face if fused.weights else None)
        if self.goal is None or face is None:
            return None
        cores = tuple(c for c in fused.cores_left if (face, c) in registry.SUBSTRATE_OF) or tuple(registry.CORES)
        # The thickness of a face is not measured in an aisle: what only thinness would refuse is no deal-breaker yet.
        return why_not(Subject(part, self.names[part], role, (face,), cores, "decided", face_kind="modern"), self.goal, face)

    def _following(self, answers: Answers, fused: Mapping[str, Fused], spent: float) -> tuple[Put | None, str]:
        left = self.seconds - spent
        question = self.gate.next_question(answers.gate)
        if question is not None:
            return (_gate_put(question), "") if question.seconds <= left else (None, "time")
        open_parts = {p: (f, self.parts[p], tuple(self._told(answers, p).answers)) for p, f in fused.items()
                      if self._told(answers, p).confirmed[0] is None}
        found = best_pair(open_parts, EXPOSURE, self.rules)
        if found is None:
            return None, "settled" if all(f.face is not None for f in fused.values()) else "nothing"
        part, worth = found
        if worth.check.seconds + OVERHEAD > left:
            return None, "time"
        return _check_put(part, self.names[part], worth.check, worth.bits), ""


def _gate_put(q: Question) -> Put:
    return Put(f"{GATE}/{q.key}", q.text, q.how, tuple(Answer(a.key, a.letter, a.words) for a in q.answers), q.seconds, q.place)


def _check_put(part: str, name: str, check: Check, bits: float) -> Put:
    return Put(f"{part}/{check.key}", f"{name}: {check.text[0].lower()}{check.text[1:]}", check.how, check.answers, check.seconds,
               check.key, bits)
