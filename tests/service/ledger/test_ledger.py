"""The ledger: nothing lost, nothing rewritten; sums by hand; how good estimates are, on made-up truth; labels by trust."""

import json
import math
import os
import random
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from service.cli import app
from service.contract import to_json as document_json
from service.ledger.compare import LEAST, document, lines_of, pieces, profit_gap, skill
from service.ledger.events import KINDS, TRUST, CannotKeep, Event, add, of_json, read, to_json
from service.ledger.labels import labels
from tests.service.chest import chest_document
from vision.errors import UsageError

DAY = "2026-03-02"
plain = st.builds(
    lambda piece, kind, n, text: Event(piece, kind, DAY, numbers={**{k: n for k in KINDS[kind]}}, text=text),
    st.text(st.characters(categories=["L", "N"]), min_size=1, max_size=9),
    st.sampled_from(["asked", "paid", "worked", "sold", "note"]),
    st.floats(0, 1e6), st.text(max_size=30),
)


def event(kind, piece="chest", at=DAY, **numbers):
    return Event(piece, kind, at, numbers=numbers)


@given(st.lists(plain, max_size=6))
def test_what_is_written_is_read_back(events):
    assert [of_json(json.loads(json.dumps(to_json(e)))) for e in events] == events


def test_events_are_added_and_a_torn_line_costs_only_itself(tmp_path):
    file = tmp_path / "a" / "ledger.jsonl"
    add(file, [event("paid", amount=40.0)])
    whole = file.read_bytes()
    with file.open("ab") as out:
        out.write(whole[: len(whole) // 2])
    add(file, [event("sold", amount=90.0)])
    found = read(file)
    assert [e.kind for e in found.events] == ["paid", "sold"] and [n for n, _ in found.torn] == [2]
    assert file.read_bytes().startswith(whole)


def test_a_kill_at_any_moment_loses_no_event_that_was_kept(tmp_path):
    file, told = tmp_path / "ledger.jsonl", tmp_path / "told"
    code = ("import sys; from pathlib import Path; from service.ledger.events import Event, add\n"
            "f, told = Path(sys.argv[1]), open(sys.argv[2], 'a')\n"
            "for n in range(10**6):\n"
            "    e = Event('chest', 'note', '2026-03-02', text='x' * 3000); add(f, [e])\n"
            "    told.write(e.id + '\\n'); told.flush()\n")
    rng = random.Random(4)
    for _ in range(4):
        child = subprocess.Popen([sys.executable, "-c", code, str(file), str(told)])
        begun = told.stat().st_size if told.exists() else 0
        while not told.exists() or told.stat().st_size == begun:
            assert child.poll() is None
            time.sleep(0.01)
        time.sleep(rng.random() * 0.05)
        os.kill(child.pid, signal.SIGKILL)
        child.wait()
    kept = {e.id for e in read(file).events}
    promised = set(told.read_text().split("\n")[:-1])
    assert promised and promised <= kept


def test_a_correction_takes_back_and_rewrites_nothing(tmp_path):
    file = tmp_path / "ledger.jsonl"
    wrong = event("paid", amount=400.0)
    add(file, [wrong, event("paid", amount=40.0)])
    before = file.read_bytes()
    add(file, [Event("chest", "void", DAY, voids=wrong.id)])
    assert file.read_bytes().startswith(before)
    assert [e.numbers["amount"] for e in read(file).standing] == [40.0]


def test_a_ledger_that_cannot_be_written_is_named(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(CannotKeep, match="cannot be written"):
        add(tmp_path / "file" / "ledger.jsonl", [event("paid", amount=1.0)])
    with pytest.raises(CannotKeep, match="cannot be read"):
        read(tmp_path)
    assert read(tmp_path / "none.jsonl").events == ()


@pytest.mark.parametrize("bad", [
    {"kind": "stolen"}, {"kind": "paid"}, {"kind": "paid", "numbers": {"amount": -1.0}},
    {"kind": "paid", "numbers": {"amount": math.nan}},
    {"kind": "note", "numbers": {"luck": 1.0}}, {"kind": "revealed", "part": "top", "how": "stripped"},
    {"kind": "revealed", "part": "top", "how": "guessed", "face": "veneer"},
    {"kind": "revealed", "part": "top", "how": "edge", "face": "solid_wood", "core": "plywood"}, {"kind": "void"},
    {"kind": "note", "at": "yesterday"}, {"kind": "note", "piece": " "},
])
def test_events_that_make_no_sense_are_refused(bad):
    with pytest.raises(UsageError):
        Event(**{"piece": "chest", "at": DAY, **bad})


def test_sums_worked_by_hand():
    rows = [event("asked", amount=60.0), event("paid", amount=40.0),
            event("planned", hours=4.0, materials=20.0, sale=150.0, days=14.0),
            event("worked", hours=3.0), event("worked", hours=2.0), event("spent", amount=25.0),
            event("sold", at="2026-03-22", amount=140.0, fees=11.2), event("returned", amount=10.0)]
    p, = pieces(rows)
    assert (p.hours, p.materials, p.sold, p.days) == (5.0, 25.0, 140.0, 20.0)
    assert p.profit == pytest.approx(140 - 11.2 - 10 - 40 - 25) and p.an_hour == pytest.approx(p.profit / 5)
    text = "\n".join(lines_of([p]))
    assert "hours: foreseen 4, in truth 5" in text and "too few pieces to say" in text


def sold_pieces(gaps):
    """Pieces foreseen to leave 150 - 20 - 12 - 40 = 78, which leave so much more."""
    rows = []
    for k, gap in enumerate(gaps):
        rows += [event("paid", f"p{k}", amount=40.0), event("planned", f"p{k}", sale=150.0, materials=20.0, fees=12.0),
                 event("spent", f"p{k}", amount=20.0), event("sold", f"p{k}", amount=150.0 + gap, fees=12.0)]
    return pieces(rows)


def test_profit_foreseen_and_true_compared_in_money():
    """Mean and deviation against numpy; losses count as they are, which a ratio could not say."""
    gaps = [-120.0, -30.0, 10.0, -60.0, 0.0, 5.0]
    rows = sold_pieces(gaps)
    assert {p.foreseen for p in rows} == {78.0} and min(p.profit for p in rows) == -42.0
    found = profit_gap(rows)
    assert found.mean == pytest.approx(np.mean(gaps)) and found.deviation == pytest.approx(np.std(gaps, ddof=1))
    assert found.low < found.mean < found.high and document(rows)["profit_gap"]["pieces"] == 6
    assert "foreseen 78" in "\n".join(lines_of(rows))


def test_profits_of_too_few_pieces_say_nothing():
    assert profit_gap(sold_pieces([0.0] * (LEAST - 1))) is None and profit_gap(sold_pieces([0.0] * LEAST)) is not None
    unsold, = pieces([event("paid", amount=40.0), event("planned", sale=150.0, materials=20.0)])
    assert unsold.foreseen == 90.0 and profit_gap([unsold] * LEAST) is None
    assert document([unsold])["profit_gap"] is None


def test_while_it_is_not_sold_there_is_no_profit():
    p, = pieces([event("paid", amount=40.0)])
    assert p.profit is None and p.an_hour is None and p.days is None


def made_up(n, ratio, spread, seed=1):
    rng = np.random.default_rng(seed)
    rows = []
    for k in range(n):
        worked = float(4 * ratio * np.exp(spread * rng.normal()))
        rows += [event("planned", f"p{k}", hours=4.0), event("worked", f"p{k}", hours=worked)]
    return pieces(rows)


def test_a_known_bias_is_found_again_and_too_few_pieces_say_nothing():
    found = skill(made_up(40, 1.5, 0.2), "hours")
    assert found.low < 1.5 < found.high and found.ratio == pytest.approx(1.5, rel=0.12)
    assert found.spread == pytest.approx(math.exp(0.2), rel=0.1)
    assert skill(made_up(LEAST - 1, 1.5, 0.2), "hours") is None and skill(made_up(LEAST, 1.5, 0.2), "hours") is not None


def test_the_range_holds_the_truth_about_nine_times_in_ten():
    """By simulation: the bootstrap over few pieces is somewhat narrow, so four in five at the least."""
    held = [(s := skill(made_up(20, 1.2, 0.4, seed), "hours")).low <= 1.2 <= s.high for seed in range(60)]
    assert 0.8 <= np.mean(held) <= 0.98


def reveal(how, at=DAY, **more):
    return Event("chest", "revealed", at, part="top", role="top", how=how, **more)


def test_labels_take_the_most_trusted_and_then_the_latest():
    rows = [reveal("seller", face="solid_wood"), reveal("stripped", face="veneer", photos=(("a" * 64, "p1"),)),
            reveal("edge", core="particle_board"), reveal("seller", face="solid_wood", at="2026-04-01")]
    label, = labels(rows)
    assert label["face"]["key"] == "veneer" and label["face"]["trust"] == max(n for n, _ in TRUST.values())
    assert label["core"]["key"] == "particle_board" and label["conflict"] is False
    assert label["photos"] == [{"sha256": "a" * 64, "panel": "p1"}]


def test_labels_that_cannot_go_together_say_so():
    label, = labels([reveal("stripped", face="solid_wood"), reveal("edge", core="plywood")])
    assert label["conflict"] is True


def test_the_commands_keep_tie_to_photos_and_compare(tmp_path):
    def run(*words):
        done = CliRunner().invoke(app, ["ledger", *words, "--file", str(tmp_path / "l.jsonl")])
        assert done.exit_code == 0, done.output + str(done.exception)
        return done.output

    doc = chest_document(tmp_path)
    (tmp_path / "chest.json").write_text(document_json(doc))
    part = doc.parts[0]
    kept = run("add", "chest", "paid", "--amount", "40").split()[-1]
    run("add", "chest", "sold", "--amount", "90", "--fees", "5")
    run("revealed", "chest", "--part", part.id, "--face", "veneer", "--assessment", str(tmp_path / "chest.json"))
    assert "left: 45" in run("show")
    run("void", kept)
    assert "left: 85" in run("show", "chest")
    label = json.loads(run("labels"))["labels"][0]
    assert label["photos"] == [{"sha256": doc.photos[0].sha256, "panel": s.panel} for s in part.sightings]
    with (tmp_path / "l.jsonl").open("a") as out:
        out.write('{"v":1,"id":"half')
    torn = CliRunner().invoke(app, ["ledger", "show", "--json", "--file", str(tmp_path / "l.jsonl")])
    lines = (tmp_path / "l.jsonl").read_text().count("\n")
    assert [t["line"] for t in json.loads(torn.stdout)["skipped"]] == [lines + 1] and "was skipped" in torn.stderr
    assert CliRunner().invoke(app, ["ledger", "show", "table", "--file", str(tmp_path / "l.jsonl")]).exit_code != 0
