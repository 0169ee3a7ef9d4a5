"""Pieces, answers, corrections, documents, ledger and settings: what goes in comes out, in order, and stays."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from service.store import NotThere, Refused, Store
from service.store.texts import clean, new_id
from tests.service.store.store_made import photo_bytes


def test_a_piece_is_kept_and_changed(store: Store, clock):
    piece = store.pieces.create("  Chest of\tdrawers ", "bought\r\nat a sale")
    assert (piece.title, piece.notes) == ("Chest of drawers", "bought\nat a sale")
    clock.turn(60)
    changed = store.pieces.change(piece.id, notes="")
    assert changed.title == piece.title and changed.notes == ""
    assert changed.changed - changed.created == timedelta(seconds=60) and store.pieces.get(piece.id) == changed


def test_ids_are_random_and_fit_anywhere():
    ids = {new_id() for _ in range(2000)}
    assert len(ids) == 2000 and all(len(i) == 22 and i[0].isalnum() for i in ids)


def test_search_forgives_case_accents_and_order(store: Store, clock):
    for title, notes in (("Écritoire", "Walnut veneer"), ("Table 100%", "oak_top"), ("Stool", "STRASSE")):
        store.pieces.create(title, notes)
        clock.turn(1)
    assert [p.title for p in store.pieces.find()] == ["Stool", "Table 100%", "Écritoire"]
    for words, title in (("veneer ecritoire", "Écritoire"), ("100%", "Table 100%"), ("OAK_", "Table 100%"), ("straße", "Stool")):
        assert [p.title for p in store.pieces.find(words)] == [title], words
    assert store.pieces.find("%") == store.pieces.find("100%") and store.pieces.find("walnut oak") == ()
    assert [p.title for p in store.pieces.find(limit=1, offset=1)] == ["Table 100%"] and store.pieces.count() == 3


def test_adding_to_a_piece_moves_it_up(store: Store, clock):
    first = store.pieces.create("first")
    clock.turn(1)
    store.pieces.create("second")
    clock.turn(1)
    store.answers.give(first.id, "hand", "weight", 1)
    assert [p.title for p in store.pieces.find()] == ["first", "second"]


@pytest.mark.parametrize(
    ("call", "what"),
    [
        (lambda s: s.pieces.create("x" * 201), "201 characters"),
        (lambda s: s.pieces.create("half \ud83d"), "half a character"),
        (lambda s: s.answers.give("p", "Hand!", "q", 1), "not a key"),
        (lambda s: s.answers.give("p", "hand", "../q", 1), "not a name"),
        (lambda s: s.answers.give("p", "hand", "q", float("nan")), "not plain JSON"),
        (lambda s: s.answers.give("p", "hand", "q", "x" * 300_000), "the limit is"),
        (lambda s: s.corrections.add("p", "outline", {1, 2}), "not plain JSON"),
        (lambda s: s.settings.put("_store-id", "x"), "not a key"),
    ],
)
def test_nonsense_is_refused_before_it_is_stored(store: Store, call, what):
    with pytest.raises(Refused, match=what) as refused:
        call(store)
    assert refused.value.cause and refused.value.remedy and store.pieces.count() == 0


def test_unknown_ids_are_named_as_such(store: Store):
    for call in (
        store.pieces.get, store.pieces.delete, store.photos.get, store.photos.of_piece, store.photos.data, store.photos.remove,
        store.answers.latest, store.corrections.of_piece, store.jobs.get, store.jobs.of_piece, store.jobs.cancel,
        store.papers.get, store.jobs.add, store.ledger.lines, lambda i: store.answers.give(i, "hand", "q", 1),
        lambda i: store.photos.add(i, photo_bytes(1)), lambda i: store.derived.get(i, "evidence", "x"),
        lambda i: store.ledger.add(i, "sold", 1), lambda i: store.papers.add(i, "plan", "{}"),
    ):  # fmt: skip
        for unknown in (new_id(), "", "../../etc", "x" * 5000, "\0" * 22):
            if call == store.ledger.lines and unknown == "":
                continue
            with pytest.raises(NotThere):
                call(unknown)


def test_the_latest_answer_counts_and_none_is_lost(store: Store, clock):
    piece = store.pieces.create().id
    store.answers.give(piece, "hand", "cut_edge", {"seen": "plies"}, subject="panel-1")
    clock.turn(5)
    store.answers.give(piece, "hand", "cut_edge", {"seen": "solid"}, subject="panel-1")
    store.answers.give(piece, "hand", "cut_edge", {"seen": "particles"}, subject="panel-2")
    store.answers.give(piece, "gate", "insects", "no")
    assert [(a.subject, a.body["seen"]) for a in store.answers.latest(piece, "hand")] == [
        ("panel-1", "solid"), ("panel-2", "particles")
    ]  # fmt: skip
    store.answers.give(piece, "hand", "cut_edge", None, subject="panel-1")
    assert [a.subject for a in store.answers.latest(piece, "hand")] == ["panel-2"]
    assert len(store.answers.history(piece)) == 5 and len(store.answers.latest(piece)) == 2


def test_an_answer_given_without_signal_does_not_undo_a_later_one(store: Store, clock):
    piece = store.pieces.create().id
    spoken = clock()
    clock.turn(600)
    store.answers.give(piece, "hand", "weight", "heavy")
    store.answers.give(piece, "hand", "weight", "light", said=spoken)
    assert store.answers.latest(piece)[0].body == "heavy"
    future = store.answers.give(piece, "hand", "weight", "none", said=clock() + timedelta(days=9))
    assert future.said == clock(), "a phone whose clock runs ahead does not win for ever"


def test_a_request_sent_twice_counts_once(store: Store):
    piece = store.pieces.create("one", client_key="c1")
    assert store.pieces.create("other", client_key="c1") == piece and store.pieces.count() == 1
    for give in (
        lambda body: store.answers.give(piece.id, "hand", "q", body, client_key="k"),
        lambda body: store.corrections.add(piece.id, "known", body, client_key="k"),
        lambda body: store.ledger.add(piece.id, "bought", body, client_key="k"),
        lambda body: store.jobs.add(piece.id, request=body, client_key="k"),
    ):
        assert give(1).id == give(2).id
    assert len(store.answers.history(piece.id)) == len(store.corrections.of_piece(piece.id)) == len(store.ledger.lines()) == 1


def test_corrections_keep_their_order_and_can_be_taken_back(store: Store):
    piece, other = store.pieces.create().id, store.pieces.create().id
    photo = store.photos.add(piece, photo_bytes(1)).id
    outline = store.corrections.add(piece, "outline", [[0, 0], [9, 0], [9, 9]], photo=photo)
    merge = store.corrections.add(piece, "merge", ["a", "b"])
    assert store.corrections.of_piece(piece) == (outline, merge) and store.corrections.of_piece(piece, photo=photo) == (outline,)
    for wrong in (
        lambda: store.corrections.add(other, "outline", [], photo=photo), lambda: store.corrections.remove(other, merge.id),
    ):  # fmt: skip
        with pytest.raises(NotThere):
            wrong()
    store.corrections.remove(piece, outline.id)
    assert store.corrections.of_piece(piece) == (merge,)


def test_old_documents_stay_readable_and_name_their_model(store: Store):
    piece = store.pieces.create().id
    old = '{"schema": "1.0",   "model": {"id": "first model"}, "gone": [1, 2]}'
    new = json.dumps({"schema": "grainassay.plan/1.0", "text": "é"}, ensure_ascii=False)
    kept = store.papers.add(piece, "assessment", old)
    store.papers.add(piece, "assessment", '{"schema":"1.3","model":{"id":"second"}}')
    plan = store.papers.add(piece, "plan", new)
    assert store.papers.get(kept.id).text == old and (kept.schema, kept.model) == ("1.0", "first model")
    assert [p.model for p in store.papers.of_piece(piece, "assessment")] == ["second", "first model"]
    latest = store.papers.latest(piece, "assessment")
    assert latest is not None and latest.model == "second" and store.papers.latest(piece, "sale") is None
    assert store.papers.content(store.papers.get(plan.id)) == {"schema": "grainassay.plan/1.0", "text": "é"}
    assert store.pieces.get(piece).assessed == latest.created
    for broken in ("", "[]", "{", '{"a": NaN}', '{"a": "\0"}', '"\ud800"', "[" * 100_000):
        with pytest.raises(Refused):
            store.papers.add(piece, "plan", broken)


def test_ledger_lines_cannot_be_changed_even_by_hand(store: Store):
    piece = store.pieces.create().id
    first = store.ledger.add(piece, "bought", {"price": "40"})
    general = store.ledger.add(None, "tools", {"price": "9"})
    assert store.ledger.lines() == (first, general) and store.ledger.lines(piece) == (first,)
    assert store.ledger.lines(after=first.number) == (general,)
    for statement in ("UPDATE ledger SET body = '1'", "DELETE FROM ledger", "DELETE FROM ledger WHERE piece IS NULL"):
        with pytest.raises(DBAPIError, match="only ever added"), store.database.engine.begin() as connection:
            connection.execute(text(statement))
    assert store.ledger.lines() == (first, general)
    store.pieces.delete(piece)
    assert store.ledger.lines() == (general,)
    assert store.ledger.add(None, "tools", 1).number > general.number


def test_settings(store: Store, opened):
    assert store.settings.get("access-key") is None and store.settings.get("access-key", 3) == 3
    store.settings.put("access-key", {"hash": "é", "n": [1, None]})
    store.settings.put("access-key", {"hash": "x"})
    assert opened().settings.get("access-key") == {"hash": "x"}
    store.settings.put("access-key", None)
    store.settings.put("access-key", None)
    assert store.settings.get("access-key") is None


def test_clean_text_stays_as_it_is():
    text_ = clean(" e\u0301\x00\x07a\u0085b\r\n\tc ", 100, "text")
    assert text_ == "éab\n\tc" and clean(text_, 100, "text") == text_
