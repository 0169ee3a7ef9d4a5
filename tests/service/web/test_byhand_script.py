"""The routine reckoned by the page's script against the program itself, over answers drawn at random (needs node)."""

import json
import random
import shutil
import subprocess
from itertools import pairwise
from pathlib import Path

import pytest

from service.aisle.report import document
from service.aisle.routine import GATE, Routine
from service.check import weighed_part
from service.hand.checks import rules
from service.hand.report import by_face, pull
from service.hand.state import Answers, Told
from service.plan.types import GOALS
from service.web.views.by_hand import part_lines
from service.web.views.routine import standing, tables
from tests.service.chest import chest_document

NODE = shutil.which("node")
SCRIPT = Path(__file__).resolve().parents[3] / "service" / "static" / "byhand.js"
#: Reads [tables, [[piece, gate, said], ...]] and prints what the script makes of each.
DRIVER = """
const byhand = require(process.argv[1]);
const [tables, cases] = JSON.parse(require("fs").readFileSync(0, "utf8"));
const t = byhand.ready(tables);
const pulled = (p) => p.fused.weights.map((w) => {
  const x = byhand.pull(t, w, p.fused);
  return [w.check, x.up, x.down, x.decibans, w.share, w.why];
});
const following = (p) => byhand.nextChecks(t, p, p.fused, Object.keys(p.said), p.role).map((w) => [w.check.key, w.bits]);
const out = cases.map(([piece, gate, said]) => {
  const n = byhand.now(t, piece, gate, said);
  const parts = n.parts.map((p) => ({
    face: p.fused.face, core: p.fused.core, left: p.fused.facesLeft, cores_left: p.fused.coresLeft, faces: p.fused.faces,
    cores: p.fused.cores, pull: pulled(p), following: following(p), line: byhand.partLine(t, p, p.fused),
  }));
  return {
    next: n.next ? n.next.key : null, text: n.next ? n.next.text : "", over: n.over, seconds: n.seconds, parts,
    breaker: n.breaker, rank: n.at.rank, could: n.at.couldBe, reasons: n.at.reasons.map((r) => r.question),
    unknown: n.at.unknown.map((u) => u.question),
  };
});
console.log(JSON.stringify(out));
"""
pytestmark = pytest.mark.skipif(NODE is None, reason="node is not installed")


def drawn(rng, routine):
    """Answers as a user might give them: the questions asked, answered at random, with some wild ones between."""
    answers = Answers()
    kind = rng.random()
    for _ in range(rng.randrange(0, 26)):
        now = routine.now(answers)
        key, choices = (now.following.key, now.following.answers) if now.following is not None else (None, ())
        if key is None or rng.random() < 0.15:
            part = rng.choice(list(routine.parts))
            check = rng.choice([c for c in rules().checks.values() if routine.parts[part] in c.roles])
            key, choices = f"{part}/{check.key}", check.answers
        said = rng.choice([a.key for a in choices] + ["cannot_say", "not_looked"])
        if key.startswith(GATE) and kind < 0.7:
            said = rng.choice(["cannot_say", choices[0].key])
        answers = routine.kept({key: said}, answers)
    part, role = rng.choice(list(routine.parts.items()))
    told = answers.parts.get(part, Told(role))
    more = {}
    if rng.random() < 0.2:
        more["weighed"] = weighed_part(rng.choice(["5.9kg, 1000x500x18mm, pine", "9kg, 1000x500x18mm"]))
    if rng.random() < 0.1:
        more["confirmed"] = rng.choice([("veneer", "plywood"), ("printed", None), (None, "particle_board")])
    return Answers(answers.gate, {**answers.parts, part: Told(told.role, told.answers, **more)})


@pytest.fixture(scope="module")
def compared(tmp_path_factory):
    """(what the program says, what the script says) of many pieces."""
    doc = chest_document(tmp_path_factory.mktemp("chest"))
    rng = random.Random(5)
    cases, own = [], []
    for k in range(120):
        routine = Routine(doc if k % 2 else None, goal=rng.choice([None, *GOALS]), minutes=rng.choice([1, 3, 8, 30]))
        answers = drawn(rng, routine)
        told = {p: dict(answers.parts[p].answers) for p in routine.parts if p in answers.parts}
        cases.append([standing(routine, answers), dict(answers.gate), told])
        own.append((routine, routine.now(answers), answers))
    ran = subprocess.run([NODE, "-e", DRIVER, str(SCRIPT)], input=json.dumps([tables(), cases]), capture_output=True, text=True,
                         check=True)  # fmt: skip
    return list(zip(own, json.loads(ran.stdout), strict=True))


def test_the_same_question_comes_next(compared):
    kinds = set()
    for (_, now, _), found in compared:
        assert (now.following.key if now.following else None) == found["next"]
        assert (now.following.text if now.following else "") == found["text"]
        assert now.why_over == found["over"] and now.seconds == found["seconds"]
        kinds.add(now.why_over or ("gate" if now.following.key.startswith(GATE) else "check"))
    assert kinds >= {"gate", "check", "broken", "time"}, "the answers drawn reach every way it can go"


def test_the_same_deal_breakers(compared):
    by = set()
    for (_, now, _), found in compared:
        assert (now.breaker is None) == (found["breaker"] is None)
        if now.breaker is not None:
            assert (now.breaker.part, now.breaker.words) == (found["breaker"]["part"], found["breaker"]["words"])
            by.add(now.breaker.part is None)
    assert by == {True, False}, "by the gate, and by a goal that is refused"


def test_the_same_standing_at_the_gate(compared):
    for (_, now, _), found in compared:
        assert now.standing.rank == found["rank"]
        assert [r.question.key for r in now.standing.reasons] == found["reasons"]
        assert [u.question.key for u in now.standing.unknown] == found["unknown"]


def ordered(names, ranges):
    """Whether names stand likeliest first; equally likely ones may stand either way."""
    middles = [ranges[n].middle for n in names]
    return all(a >= b - 1e-9 for a, b in pairwise(middles))


def test_the_same_ranges_calls_and_pulls(compared):
    named = 0
    for (_, now, _), found in compared:
        for part, mine in zip(now.fused.values(), found["parts"], strict=True):
            assert (part.face, part.core) == (mine["face"], mine["core"])
            assert set(part.faces_left) == set(mine["left"]) and ordered(mine["left"], part.faces)
            assert set(part.cores_left) == set(mine["cores_left"]) and ordered(mine["cores_left"], part.cores)
            named += part.face is not None
            for own, shown in ((part.faces, mine["faces"]), (part.cores, mine["cores"])):
                for key, r in own.items():
                    values = [shown[key][k] for k in ("low", "middle", "high")]
                    assert values == pytest.approx([r.low, r.middle, r.high], abs=1e-9)
            for weight, (check, up, down, decibans, share, why) in zip(part.weights, mine["pull"], strict=True):
                assert (weight.check, weight.share, weight.why) == (check, share, why)
                logs, own_pull = by_face(weight, part), pull(weight, part)
                # Two faces that an answer treats alike may be named either way.
                assert [logs[up], logs[down]] == pytest.approx([logs[own_pull[0]], logs[own_pull[1]]], abs=1e-9)
                assert decibans == pytest.approx(own_pull[2], abs=1e-6)
    assert named > 20


def test_the_same_checks_are_worth_making(compared):
    from service.hand.worth import next_checks

    for (routine, now, answers), found in compared:
        for (part, fused), mine in zip(now.fused.items(), found["parts"], strict=True):
            said = answers.parts[part].answers if part in answers.parts else {}
            own = next_checks(fused, routine.parts[part], routine.rules, answered=said)
            assert [w.check.key for w in own] == [key for key, _ in mine["following"]]
            assert [w.bits for w in own] == pytest.approx([bits for _, bits in mine["following"]], abs=1e-9)


def test_the_same_words(compared):
    for (routine, now, _), found in compared:
        parts = document(routine, now)["parts"]
        for own, mine, fused in zip(part_lines(parts, rules()), found["parts"], now.fused.values(), strict=True):
            line = mine["line"]
            assert own["open"] == line["open"] and sorted(own["call"]) == sorted(line["call"]), "equally likely ones either way"
            shown = {(r["words"], r["low"], r["high"]) for r in line["rows"]}
            ties = len({round(r.middle, 9) for r in fused.faces.values()}) < len(fused.faces)
            assert ties or {(r["words"], r["low"], r["high"]) for r in own["rows"]} == shown
            assert [(m["check"], m["answer"], m["why"]) for m in own["moved"]] == [
                (m["check"], m["answer"], m["why"]) for m in line["moved"]]  # fmt: skip
            for a, b in zip(own["moved"], line["moved"], strict=True):
                assert a["words"].split(" for ")[0] == b["words"].split(" for ")[0]


def test_the_same_spot_tests():
    from itertools import product

    from service.finish.spot import concluded
    from service.finish.spot import rules as spot_rules
    from service.web.views.finish import tables as spot_tables

    tests = spot_rules().tests
    cases = [{t.key: a for t, a in zip(tests, given, strict=True) if a} for given in
             product(*[["", "cannot_say", *(a.key for a in t.answers)] for t in tests])]  # fmt: skip
    driver = """const s = require(process.argv[1]); const [t, cases] = JSON.parse(require("fs").readFileSync(0, "utf8"));
    const told = (f) => [f.finish, f.notes, f.next?.key ?? null];
    console.log(JSON.stringify(cases.map((c) => told(s.concluded(t, c)))));"""
    ran = subprocess.run([NODE, "-e", driver, str(SCRIPT.with_name("finish.js"))], input=json.dumps([spot_tables(), cases]),
                         capture_output=True, text=True, check=True)  # fmt: skip
    for case, found in zip(cases, json.loads(ran.stdout), strict=True):
        own = concluded(case)
        assert found == [own.finish, list(own.notes), own.following.key if own.following else None], case
