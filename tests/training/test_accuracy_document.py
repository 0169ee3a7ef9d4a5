"""The document of figures: tables against plain loops, targets that can be met and missed, links that lead somewhere."""

import re
from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from tests.training import accuracy_made as made
from training import accuracy, accuracy_front, accuracy_tables
from training.baselines import EMBEDDING, Paired, paired
from training.config_file import load_config
from training.figures import intervals
from vision.inference.joint import FACES


@pytest.fixture(scope="module")
def real():
    return made.side(strength=2.0)


def cells(line):
    return [c.strip().strip("*") for c in line.strip("|").split("|")]


def test_confusion_is_shares_of_specimens(real):
    t, said = real.table, real.ours.answers.face.argmax(axis=1)
    lines = list(accuracy_tables.confusion(t.face, said, t.specimen, real.faces, FACES))[2:]
    for line in lines:
        name, specimens, *shares = cells(line)
        k = FACES.index(name)
        rows = np.flatnonzero(real.faces & (t.face == k))
        each = {s: np.mean([said[r] == k for r in rows if t.specimen[r] == s]) for s in t.specimen[rows]}
        assert int(specimens) == len(each)
        assert float(shares[k]) == pytest.approx(np.mean(list(each.values())), abs=0.006)


def test_photo_types_part_the_faces(real):
    masks = accuracy_front.kind_masks(real)
    three = [masks[k] for k in ("close-up", "whole piece", "listing thumbnail")]
    assert (np.sum(three, axis=0) == real.faces).all()
    assert not (masks["not close, several faces outlined"] & masks["close-up"]).any()
    assert accuracy_front.kind_masks(replace(real, facts=None)) == {}


def test_veneers_part_into_plywood_and_furniture(real):
    masks = accuracy_tables.veneer_masks(real)
    assert (sum(m.astype(int) for m in masks.values()) == (real.faces & (real.table.face == FACES.index("veneer")))).all()


def test_wrongly_counts_specimens_once(real):
    everyone = real.faces
    hits, trials, (low, high) = accuracy_front.wrongly(real, "solid_wood", everyone, 0.0)
    assert hits == trials == real.specimens(everyone) and low < 1 == high
    assert accuracy_front.wrongly(real, "solid_wood", everyone, 1.1)[0] == 0


def test_targets_are_met_by_the_sure_and_missed_by_guessing():
    sure, guessing = made.side("rendered", strength=12.0), made.side("rendered", strength=0.0)
    met = {t.asked: t.met for t in accuracy_front.targets(sure, sure)}
    missed = {t.asked: t.met for t in accuracy_front.targets(guessing, guessing)}
    for words in ("balanced accuracy of decided", "cue is in view", "sure (0.9) and wrong"):
        key = next(k for k in met if words in k)
        assert met[key] is True
    assert [v for k, v in missed.items() if "balanced accuracy of decided" in k or "cue is in view" in k] == [False, False]
    assert next(v for k, v in met.items() if "1,000 pieces" in k) is False  # too few pieces, whatever the error


def test_first_page_says_what_is_hardly_known():
    few = made.side(strength=0.5)
    prints = np.flatnonzero(few.faces & (few.table.face == FACES.index("printed")))
    use = few.use.copy()
    use[prints[few.table.specimen[prints] != few.table.specimen[prints[0]]]] = False
    text = "\n".join(accuracy_front.not_reached(replace(few, use=use)))
    assert "Print is hardly known" in text and "1 specimens" in text


def test_ten_lines_are_ten_and_claim_no_more_than_was_compared(real, monkeypatch):
    monkeypatch.setattr(accuracy_front, "intervals", partial(intervals, rounds=10))
    pairs = [Paired("AUC wood against print", 0.9, 0.5, (0.1, 0.5), (0.1, 0.5), 6),
             Paired("view: balanced", 0.5, 0.6, (-0.2, -0.1), (-0.2, -0.1), 50)]
    lines = list(accuracy_front.reached(real, {"one": pairs, "another": pairs[:1]}))
    assert len(lines) == 10
    assert "Against one: better on nothing, worse on which side is seen; nothing can be said on wood against print" in lines[-1]
    assert "Against another: better on nothing; nothing can be said on wood against print" in lines[-1]


def test_configurations_come_from_the_settings():
    config = load_config()
    found = accuracy.configurations(config)
    assert found["all"] is config and EMBEDDING in found
    assert {f"without {e.name}" for e in config.experts} <= set(found)
    one = replace(config, experts=tuple(e for e in config.experts if not e.crops)[:1], located=())
    assert set(accuracy.configurations(one)) == {"all", EMBEDDING}


def anchors(text):
    return {accuracy._link(line.lstrip("#").strip()) for line in text.splitlines() if line.startswith("#")}


def test_links_lead_to_headings(real, monkeypatch):
    for room in (accuracy_front, accuracy_tables):  # a few draws do here
        monkeypatch.setattr(room, "intervals", partial(intervals, rounds=10))
    monkeypatch.setattr(accuracy.baselines, "paired", partial(paired, rounds=5))
    config = load_config()
    found = {"all": (real.ours, None), EMBEDDING: (real.baselines["embedding"][1], None)}
    text = accuracy.document(config, real, made.side("rendered", strength=1.0, seed=5), found)
    measured = accuracy.measured_document()
    links = re.findall(r"\]\(([\w.]*)(#[\w-]+)\)", text)
    assert len(links) >= 6
    for page, anchor in links:
        assert anchor in anchors(measured if page else text), (page, anchor)
    assert text.index("## Real photographs") < text.index("## Rendered photographs") and not re.search(r"\bnan\b", text)
    for name in ("reliability_real.svg", "risk_coverage_rendered.svg"):
        assert f"figures/{name}" in text


def test_without_renders_or_facts_it_says_so(real, monkeypatch):
    for room in (accuracy_front, accuracy_tables):
        monkeypatch.setattr(room, "intervals", partial(intervals, rounds=5))
    monkeypatch.setattr(accuracy.baselines, "paired", partial(paired, rounds=5))
    bare = replace(real, facts=None, baselines={"embedding": real.baselines["embedding"]})
    found = {"all": (real.ours, None), EMBEDDING: (real.baselines["embedding"][1], None)}
    text = accuracy.document(load_config(), bare, None, found)
    assert "No rendered table is stored." in text and "run `python -m training.panel_facts`" in text
