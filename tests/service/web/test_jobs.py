"""Assessments as jobs, from the request to the document, the pictures, the report; progress, cancelling, failing."""

from __future__ import annotations

import io
import json
import time
from itertools import pairwise

import pytest
from PIL import Image

from service.contract import Document
from service.store import StoreBusy
from service.web.settings import WebSettings
from service.web.worker import Worker
from tests.service.chest import ChestEngine, chest_photo
from tests.service.web.stand_ins import Failing, Held
from vision.errors import ModelMismatch

API = "/api/v1"
QUICK = WebSettings(lease_s=2.0)


@pytest.fixture(scope="module")
def chests(tmp_path_factory) -> list[bytes]:
    folder = tmp_path_factory.mktemp("chests")
    return [chest_photo(folder / f"{n}.jpg", n).read_bytes() for n in range(2)]


def begun(client, photos) -> tuple[str, dict]:
    """(address of a piece with photos, its job)."""
    piece = f"{API}/pieces/" + client.post(f"{API}/pieces", json={}).json()["id"]
    for photo in photos:
        assert client.post(piece + "/photos", files={"photo": photo}).status_code == 201
    answer = client.post(piece + "/assessments", json={})
    assert answer.status_code == 202 and answer.headers["location"] == f"{API}/jobs/{answer.json()['id']}"
    return piece, answer.json()


def ended(client, job: dict) -> dict:
    """The job once nothing more happens to it."""
    until = time.monotonic() + 30
    while (now := client.get(f"{API}/jobs/{job['id']}").json())["state"] in ("queued", "running"):
        assert time.monotonic() < until, now
        time.sleep(0.02)
    return now


def heard(client, job: dict) -> list[dict]:
    """What the stream of a job tells until it ends."""
    with client.stream("GET", f"{API}/jobs/{job['id']}/events") as stream:
        assert stream.headers["content-type"].startswith("text/event-stream") and stream.headers["cache-control"] == "no-store"
        lines = list(stream.iter_lines())
    assert all(line == "" or line.startswith((":", "event: ", "data: ", "retry: ")) for line in lines)
    return [json.loads(line.removeprefix("data: ")) for line in lines if line.startswith("data: {")]


def test_from_photos_to_document_pictures_and_report(opened, chests):
    engine = ChestEngine()
    client = opened(engine, QUICK)
    piece, job = begun(client, chests)
    told = heard(client, job)
    assert told[0]["state"] in ("queued", "running") and told[-1]["state"] == "done" and told[-1]["progress"] == 1.0
    assert [t["progress"] for t in told] == sorted(t["progress"] for t in told)
    assert all({**a, "changed": 0} != {**b, "changed": 0} for a, b in pairwise(told)), "only news is told"
    answer = client.get(piece + "/assessment")
    doc = Document.model_validate_json(answer.text)
    assert [p.id for p in doc.photos] == ["p1", "p2"] and [p.file for p in doc.photos] == ["photo-1", "photo-2"]
    assert {p.role for p in doc.parts} >= {"top", "side", "drawer_front"} and doc.model.id == "chest-1"
    assert answer.headers["x-assessment"] == told[-1]["assessment"] and engine.calls[0]["details"] is True
    for photo in client.get(piece + "/photos").json()["photos"]:
        picture = Image.open(io.BytesIO(client.get(photo["evidence"]).content))
        assert picture.format == "JPEG" and not picture.getexif() and photo["key"] in ("p1", "p2")
    report = client.get(piece + "/report")
    assert report.text.count("data:image/jpeg;base64,") == 2 and "sandbox" in report.headers["content-security-policy"]
    rows = client.get(piece + "/assessments").json()["assessments"]
    assert [(r["id"], r["model"]) for r in rows] == [(told[-1]["assessment"], "chest-1")]
    assert client.get(f"{piece}/assessments/{rows[0]['id']}").text == answer.text
    assert client.get(piece).json()["assessed"] is not None


def test_photo_ids_stay_when_a_photo_goes(opened, chests):
    client = opened(ChestEngine(), QUICK)
    piece, job = begun(client, chests)
    ended(client, job)
    first = client.get(piece + "/photos").json()["photos"][0]
    client.delete(f"{piece}/photos/{first['id']}")
    ended(client, client.post(piece + "/assessments", json={}).json())
    assert [p["id"] for p in client.get(piece + "/assessment").json()["photos"]] == ["p2"]
    assert len(client.get(piece + "/assessments").json()["assessments"]) == 2, "the old document is still there"


def test_a_waiting_job_is_told_with_its_place_and_can_be_cancelled(client, chests):
    piece, job = begun(client, chests[:1])
    assert (job["state"], job["ahead"]) == ("queued", 0)
    _, second = begun(client, chests[1:])
    assert second["ahead"] == 1
    assert client.post(piece + "/assessments", json={}).json()["id"] == job["id"], "the same request waits already"
    newer = client.post(piece + "/assessments", json={"details": False}).json()
    assert newer["id"] != job["id"] and client.get(f"{API}/jobs/{job['id']}").json()["state"] == "cancelled"
    assert client.post(f"{API}/jobs/{newer['id']}/cancel").json()["state"] == "cancelled"
    assert [t["state"] for t in heard(client, newer)] == ["cancelled"]
    assert [j["id"] for j in client.get(piece + "/jobs").json()["jobs"]] == [newer["id"], job["id"]]
    assert client.get(piece + "/assessment").status_code == 404


def test_a_request_sent_again_begins_nothing(client, chests):
    piece, _ = begun(client, chests[:1])
    asked = {"details": False, "client_key": "once"}
    first = client.post(piece + "/assessments", json=asked).json()
    newer = client.post(piece + "/assessments", json={}).json()
    assert client.post(piece + "/assessments", json=asked).json()["id"] == first["id"]
    assert client.get(f"{API}/jobs/{newer['id']}").json()["state"] == "queued", "and ends nothing"


def test_a_running_job_stops_when_it_is_cancelled(opened, chests):
    engine = Held()
    client = opened(engine, QUICK)
    piece, job = begun(client, chests[:1])
    assert engine.begun.wait(20)
    assert client.post(f"{API}/jobs/{job['id']}/cancel").json()["cancel_asked"] is True
    assert ended(client, job)["state"] == "cancelled" and not engine.free.is_set()
    assert client.get(piece + "/assessment").status_code == 404
    engine.free.set()
    assert ended(client, client.post(piece + "/assessments", json={}).json())["state"] == "done", "the worker works on"


def test_deleting_the_piece_stops_its_job(opened, chests, store):
    engine = Held()
    client = opened(engine, QUICK)
    piece, job = begun(client, chests[:1])
    assert engine.begun.wait(20)
    assert client.delete(piece).status_code == 204
    assert client.get(f"{API}/jobs/{job['id']}").status_code == 404
    engine.free.set()
    _, other = begun(client, chests[1:])
    assert ended(client, other)["state"] == "done"
    assert [f for f in (store.folder.root / "derived").rglob("*") if f.is_file()], "of the other piece"
    assert store.papers.latest(other["piece"], "assessment") is not None and store.pieces.count() == 1


@pytest.mark.parametrize(("error", "cause"), [
    (ModelMismatch("The model", "A file of it is missing.", "Install the program again."), "A file of it is missing."),
    (MemoryError(), "The memory of this machine ran out."),
    (ZeroDivisionError("a bug"), "Something in the program failed that should not have."),
])  # fmt: skip
def test_a_failure_says_why_and_what_to_do(opened, chests, error, cause):
    client = opened(Failing(error), QUICK)
    _, job = begun(client, chests[:1])
    done = ended(client, job)
    assert (done["state"], done["cause"]) == ("failed", cause) and done["remedy"] and done["attempts"] == 1


def test_a_busy_store_costs_a_try_and_not_the_job(client, chests, store, monkeypatch):
    _, job = begun(client, chests[:1])

    def busy(*_, **__):
        raise StoreBusy("The database", "It is locked.", "Try again.")

    with monkeypatch.context() as patched:
        patched.setattr(store.jobs, "finish", busy)
        Worker(store, ChestEngine(), lease_s=0.3).one()
    assert store.jobs.get(job["id"]).state == "running"
    until = time.monotonic() + 20
    while Worker(store, ChestEngine()).one() is None:
        assert time.monotonic() < until
        time.sleep(0.05)
    assert (store.jobs.get(job["id"]).state, store.jobs.get(job["id"]).attempts) == ("done", 2)


def test_damaged_photos_are_named_and_the_others_count(opened, chests, store):
    client = opened(ChestEngine(), QUICK)
    piece = f"{API}/pieces/" + client.post(f"{API}/pieces", json={}).json()["id"]
    sizes = [client.post(piece + "/photos", files={"photo": photo}).json()["bytes"] for photo in chests]
    kept = [f for f in (store.folder.root / "photos").rglob("*") if f.is_file() and f.stat().st_size == sizes[0]]
    kept[0].write_bytes(b"rotten")
    assert ended(client, client.post(piece + "/assessments", json={}).json())["state"] == "done"
    doc = client.get(piece + "/assessment").json()
    assert [p["id"] for p in doc["photos"]] == ["p2"] and [r["file"] for r in doc["refused"]] == ["photo-1"]
    assert "damaged" in doc["refused"][0]["cause"]
    photo = client.get(piece + "/photos").json()["photos"][0]
    broken = client.get(photo["picture"])
    assert broken.status_code == 500 and broken.json()["error"]["subject"] == "Photo 1"
    client.delete(f"{piece}/photos/{client.get(piece + '/photos').json()['photos'][1]['id']}")
    failed = ended(client, client.post(piece + "/assessments", json={}).json())
    assert failed["state"] == "failed" and "None could be used" in failed["cause"] and failed["remedy"]
    assert client.get(piece + "/assessment").json() == doc, "what was known before stays"


def test_the_scale_asked_for_and_what_came_of_it(opened, chests, store):
    client = opened(ChestEngine(), QUICK)
    piece, job = begun(client, chests[:1])
    ended(client, job)
    assert ended(client, client.post(piece + "/assessments", json={"scale": "sheet"}).json())["state"] == "done"
    from service.web.queue import notes_of

    (note,) = notes_of(store, piece.rsplit("/", 1)[1])
    assert note.startswith("photo-1: no sheet was found")
    assert client.post(piece + "/assessments", json={"scale": "elephant"}).status_code == 422


def test_a_piece_without_photos_is_not_assessed(client):
    piece = f"{API}/pieces/" + client.post(f"{API}/pieces", json={}).json()["id"]
    assert client.post(piece + "/assessments", json={}).status_code == 422
    assert client.post(f"{API}/pieces/{'B' * 22}/assessments", json={}).status_code == 404


def test_a_stopping_worker_puts_its_job_back(client, chests, store):
    _, job = begun(client, chests[:1])
    engine = Held()
    Worker(store, engine, stop=engine.begun.is_set).one()
    now = store.jobs.get(job["id"])
    assert (now.state, now.attempts) == ("queued", 0)
    engine.free.set()
    engine.begun.clear()
    assert Worker(store, ChestEngine()).one() is not None and store.jobs.get(job["id"]).state == "done"
    assert Worker(store, ChestEngine()).one() is None


def test_too_many_watchers_are_told_so(opened, chests):
    client = opened(None, WebSettings(streams=1))
    _, job = begun(client, chests[:1])
    client.app.state.streams = 1
    assert client.get(f"{API}/jobs/{job['id']}/events").status_code == 503
    assert client.get(f"{API}/jobs/{'C' * 22}/events").status_code == 404
