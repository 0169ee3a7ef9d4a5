"""Mistakes: the surest first, one of a piece, reasons that add up, a picture that stays small."""

from collections import Counter

import cv2
import numpy as np

from tests.training import accuracy_made as made
from training import failures
from training.config_file import load_config
from training.figures import SOLID
from vision.inference.joint import FACES


def judged(table, strength=1.0):
    said = made.answers(table, strength)
    experts = len(load_config().experts)
    terms = np.random.default_rng(0).normal(size=(len(table), experts, len(FACES)))
    return failures.Judged(said.answers.face, said.decided, terms)


def test_mistakes_are_wrong_and_the_surest_come_first():
    table = made.table()
    said = judged(table)
    rows = failures.mistakes(table, said, 0.4)
    top = said.face.max(axis=1)[rows]
    assert len(rows) > 5 and (np.diff(top) <= 0).all() and top.min() >= 0.4
    assert (said.face.argmax(axis=1)[rows] != table.face[rows]).all() and (table.view[rows] == 0).all()


def test_few_of_a_kind_and_one_of_a_piece_are_shown():
    table = made.table(n=600)
    said = judged(table, 0.0)
    rows = failures.chosen(table, said)
    pairs = Counter((table.face[r], said.face[r].argmax()) for r in rows)
    assert len(rows) == failures.SHOWN and len({table.author[r] for r in rows}) == len(rows)
    assert max(pairs.values()) <= failures.PER_PAIR


def test_reasons_add_up_to_the_whole_push():
    terms = np.random.default_rng(1).normal(size=(5, 6))
    found = failures.pushed(terms, ["a", "b", "a", "c", "b"], 1, 0)
    assert np.isclose(sum(v for _, v in found), (terms[:, 0] - terms[:, 1]).sum())
    assert [v for _, v in found] == sorted((v for _, v in found), reverse=True) and len(found) == 3


def test_a_sentence_names_what_it_is_and_what_it_was_called():
    table = made.table()
    said = judged(table)
    facts = made.facts(table)
    row = int(failures.mistakes(table, said)[0])
    text = failures.sentence(table, facts, said, load_config(), row)
    truth, lead = FACES[table.face[row]], FACES[said.face[row].argmax()]
    assert str(facts.id[row]) in text and f"of {failures.WORDS[truth]} (oak)" in text
    assert f"called {failures.WORDS[lead]} at {said.face[row].max():.2f}" in text and "nats" in text


def test_every_pair_of_shared_looks_is_a_pair_of_faces():
    assert all(a in FACES and b in FACES and a != b for a, b in failures.SHARED) and set(failures.WORDS) == set(FACES)


def test_counts_are_those_of_the_rows():
    table = made.table()
    said, facts = judged(table), made.facts(table)
    lines = list(failures.counted(table, facts, said, 0.5))
    rows = [line.split("|") for line in lines if line.count("|") == 6 and "x" in line.split("|")[5]]
    counts = [int(cells[3]) for cells in rows]
    assert sum(counts) == len(failures.mistakes(table, said, 0.5)) > 0
    assert list(failures.counted(table, facts, said, 1.1))[-1] == ""


def test_the_picture_is_small_and_shows_the_outline():
    noise = np.random.default_rng(0).integers(0, 255, (900, 700, 3)).astype(np.uint8)
    flat = np.full((900, 700, 3), 90, np.uint8)
    outline = [(100.0, 100.0), (300.0, 120.0), (280.0, 400.0), (90.0, 380.0)]
    one = failures.tile(flat, outline, "1. words")
    assert one.shape == (failures.TILE[0] + failures.STRIP, failures.TILE[1], 3)
    assert (one[failures.STRIP :] == 255).all(axis=2).sum() > 200  # the rim of the outline
    data = failures.picture_sheet([failures.tile(noise, outline, "1. words")] * 5)
    sheet = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    assert len(data) <= failures.MOST_BYTES and sheet.shape[1] == failures.COLUMNS * failures.TILE[1]
    assert FACES.index("solid_wood") == SOLID
