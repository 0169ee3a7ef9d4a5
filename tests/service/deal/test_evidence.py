"""Chances of a deal from a part, and hand checks in money: against the textbook form and by what must hold."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from service.cli import app
from service.deal.evidence import hand_checks_worth, with_belief
from service.deal.inputs import read
from service.deal.money import means_of
from service.gate.burden import NoMoneyTalk
from service.hand.belief import FACE_OF, fuse
from service.hand.checks import SUBSTRATES, rules
from service.hand.state import start_of
from vision.errors import UsageError

FILE = Path(__file__).parents[3] / "docs/deal.toml"
DEAL, BOOK, EVEN = read(FILE), rules(), start_of(None, "top")
SEEN = fuse(EVEN, {"face_look": "figure"}, BOOK)


def test_chances_are_those_of_the_part():
    deal, left = with_belief(DEAL, SEEN)
    chances = {o.name: o.chance for o in deal.outcomes}
    covered = sum(SEEN.faces[f].middle for f in ("solid_wood", "veneer", "printed"))
    assert sum(chances.values()) == pytest.approx(1) and left == pytest.approx(1 - covered)
    assert chances["print"] == pytest.approx(SEEN.faces["printed"].middle / covered)


def test_a_part_that_may_be_much_else_is_refused():
    with pytest.raises(UsageError, match="opaque"):
        with_belief(DEAL, fuse(EVEN, {}, BOOK))
    bare = replace(DEAL, outcomes=tuple(replace(o, faces=()) for o in DEAL.outcomes))
    with pytest.raises(UsageError, match="stand for too little"):
        with_belief(bare, SEEN)


def test_the_value_of_a_check_by_hand():
    """Raiffa and Schlaifer's preposterior form, worked with the tables of the check itself."""
    deal, _ = with_belief(DEAL, SEEN)
    check = BOOK.checks["back_and_underside"]
    p = np.array([SEEN.substrates[s] for s in SUBSTRATES])
    means = means_of(deal)
    gain = {n: m - deal.asked for n, m in means.items()}
    prior = {o.name: o.chance for o in deal.outcomes}
    total = 0.0
    for answer in range(len(check.answers)):
        value = 0.0
        for o in deal.outcomes:
            mine = p * np.array([FACE_OF[s] in o.faces for s in SUBSTRATES])
            value += prior[o.name] * float(mine @ check.table[:, answer] / mine.sum()) * gain[o.name]
        total += max(0.0, value)
    expected = total - max(0.0, sum(prior[n] * gain[n] for n in prior)) - (check.seconds + 5) / 3600 * deal.rate
    found = {w.check: w.value for w in hand_checks_worth(deal, SEEN, "top", BOOK)}
    assert found[check.text] == pytest.approx(expected, abs=1e-6)


def test_what_shows_the_make_is_worth_more_than_a_tap_and_nothing_asked_twice():
    deal, _ = with_belief(DEAL, SEEN)
    order = [w.check for w in hand_checks_worth(deal, SEEN, "top", BOOK, ["hole"])]
    text = {k: c.text for k, c in BOOK.checks.items()}
    assert order.index(text["end_of_part"]) < order.index(text["tap"])
    assert text["hole"] not in order and text["face_look"] not in order and text["drawer_top_edge"] not in order


def test_a_group_that_has_spoken_is_worth_less_money():
    asked = fuse(EVEN, {"face_look": "figure", "end_of_part": "covered"}, BOOK)
    deal, _ = with_belief(DEAL, asked)
    worth = {w.check: w.value for w in hand_checks_worth(deal, asked, "top", BOOK)}
    lone = {w.check: w.value for w in hand_checks_worth(deal, fuse(EVEN, {"face_look": "figure"}, BOOK), "top", BOOK)}
    assert worth[BOOK.checks["seam_felt"].text] <= lone[BOOK.checks["seam_felt"].text] + 1e-9


def run(tmp_path, gate, *words):
    kept = tmp_path / "a.json"
    kept.write_text(json.dumps({"schema": "grainassay.answers/1.0", "gate": gate,
                                "parts": {"top": {"role": "top", "answers": {"face_look": "figure"}}}}))
    return CliRunner().invoke(app, ["deal", str(FILE), "--answers", str(kept), *words])


def test_the_command_counts_the_gate_in_and_ends_where_one_walks_away(tmp_path):
    plain = json.loads(run(tmp_path, {}, "--json").output)
    musty = json.loads(run(tmp_path, {"mould": "musty"}, "--exchange", "0.9", "--json").output)
    assert musty["profit"]["mean"] < plain["profit"]["mean"] and musty["gate"] == "quarantine"
    gone = run(tmp_path, {"smoke": "soot"})
    assert isinstance(gone.exception, NoMoneyTalk)
    part = json.loads(run(tmp_path, {}, "--part", "top", "--json").output)
    assert sum(part["chances"].values()) == pytest.approx(1, abs=1e-3) and len(part["checks"]) > len(plain["checks"])
