"""Whatever is stored is read back the same, also after closing and opening."""

from __future__ import annotations

import io
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from service.store import Refused, Store
from service.store.folder import Folder
from service.store.texts import clean
from tests.service.store.store_made import LIMITS

QUICK = settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
NAMES = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_.:-]{0,20}", fullmatch=True)
PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4), max_leaves=12,
)  # fmt: skip


@QUICK
@given(title=st.text(max_size=60), notes=st.text(max_size=200))
def test_texts(store: Store, title, notes):
    try:
        want = clean(notes, 20_000, "notes")
        made = store.pieces.create(title, notes)
    except Refused:
        assert any(0xD800 <= ord(c) <= 0xDFFF for c in title + notes)
        return
    back = store.pieces.get(made.id)
    assert back == made and back.notes == want and back.title == " ".join(back.title.split())
    assert store.pieces.create(back.title, back.notes).notes == back.notes, "storing what was read changes nothing"


@QUICK
@given(body=PLAIN, question=NAMES, subject=NAMES)
def test_answers_and_the_like(store: Store, body, question, subject):
    piece = store.pieces.create().id
    store.answers.give(piece, "hand", question, body, subject=subject)
    store.corrections.add(piece, "known", body)
    store.ledger.add(piece, "bought", body)
    job = store.jobs.add(piece, request=body)
    (answer,) = store.answers.history(piece)
    assert (answer.body, answer.question, answer.subject) == (body, question, subject)
    assert len(store.answers.latest(piece)) == (body is not None)
    assert store.corrections.of_piece(piece)[0].body == body == store.jobs.get(job.id).request
    assert store.ledger.lines(piece)[0].body == body


@QUICK
@given(content=st.dictionaries(st.text(), PLAIN, max_size=4), ascii_=st.booleans(), indent=st.sampled_from([None, 1]))
def test_documents_letter_by_letter(store: Store, content, ascii_, indent):
    text = json.dumps(content, ensure_ascii=ascii_, indent=indent)
    piece = store.pieces.create().id
    try:
        kept = store.papers.add(piece, "plan", text)
    except Refused:
        assert any(0xD800 <= ord(c) <= 0xDFFF for c in text)
        return
    assert store.papers.get(kept.id).text == text and store.papers.content(kept) == content


@QUICK
@given(data=st.binary(min_size=1, max_size=3000))
def test_files_byte_by_byte(tmp_path: Path, data):
    folder = Folder(tmp_path / "files", 0)
    folder.make()
    staged = folder.stage("derived", data)
    folder.settle(staged)
    assert folder.read("derived", staged.sha256) == data and staged.sha256 in set(folder.all("derived"))
    folder.remove("derived", staged.sha256)
    assert staged.sha256 not in set(folder.all("derived"))


@settings(QUICK, max_examples=15)
@given(size=st.tuples(*[st.integers(48, 90)] * 2), seed=st.integers(0, 999), fmt=st.sampled_from(["PNG", "JPEG", "WebP"]))
def test_photos(store: Store, size, seed, fmt):
    width, height = size
    rng = np.random.default_rng(seed)
    coarse = Image.fromarray(rng.integers(0, 255, (5, 6, 3), dtype=np.uint8)).resize((width, height), Image.Resampling.BICUBIC)
    out = io.BytesIO()
    coarse.save(out, fmt, quality=90)
    piece = store.pieces.create().id
    kept = store.photos.add(piece, out.getvalue(), keep_original=True)
    assert store.photos.original(kept.id) == out.getvalue() and (kept.width, kept.height) == (width, height)
    sent = np.asarray(Image.open(io.BytesIO(out.getvalue())).convert("RGB")).astype(int)
    assert np.abs(store.photos.load(kept.id).pixels.astype(int) - sent).mean() < 1.5


def test_all_of_it_after_opening_anew(opened, clock):
    store = opened()
    piece = store.pieces.create("Ünü", "a\nb")
    clock.turn(0.123457)
    answer = store.answers.give(piece.id, "hand", "q", {"a": [1.5, None, "é"]})
    line = store.ledger.add(piece.id, "sold", "12.50")
    paper = store.papers.add(piece.id, "plan", '{"schema": "grainassay.plan/1.0"}')
    store.close()
    after = opened()
    assert after.answers.history(piece.id) == (answer,) and after.ledger.lines() == (line,)
    assert after.papers.get(paper.id) == paper and after.pieces.get(piece.id).created == piece.created


def test_many_stores_do_not_mix(tmp_path: Path):
    stores = [Store(tmp_path / str(n), limits=LIMITS) for n in range(3)]
    for n, store in enumerate(stores):
        store.pieces.create(str(n))
    assert [[p.title for p in s.pieces.find()] for s in stores] == [["0"], ["1"], ["2"]]
    for store in stores:
        store.close()


@pytest.mark.parametrize("name", ["../x", "A" * 64, "a" * 63, "/etc/passwd"])
def test_no_name_from_outside_becomes_a_path(tmp_path: Path, name):
    folder = Folder(tmp_path, 0)
    for call in (folder.read, folder.remove):
        with pytest.raises(ValueError, match="no place"):
            call("photos", name)
    with pytest.raises(ValueError, match="no place"):
        folder.read("..", "a" * 64)
