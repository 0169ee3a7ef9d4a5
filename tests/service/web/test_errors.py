"""Whatever fails, the answer has one shape and a fitting status, as JSON or as a page, and tells nothing of the inside."""

from __future__ import annotations

import pytest

from service.store import JobLost, NotThere, Refused, StoreBusy, StoreDamaged, StoreFull
from service.web.errors import WebError, body, status_of
from vision.errors import ModelMismatch, NothingUsable, PhotoError, UsageError


def broken(client, error: Exception):
    """The client of a service whose list of pieces fails so."""
    def find(*_, **__):
        raise error

    client.app.state.store.pieces.find = find
    return client


@pytest.mark.parametrize(("kind", "status"), [
    (NotThere, 404), (Refused, 422), (StoreBusy, 503), (StoreFull, 507), (StoreDamaged, 500), (JobLost, 409), (UsageError, 422),
    (PhotoError, 422), (NothingUsable, 422), (ModelMismatch, 500),
])  # fmt: skip
def test_every_kind_of_failure_has_its_status(opened, kind, status):
    error = kind("The thing", "It is so.", "Do that.")
    assert status_of(error) == status
    answer = broken(opened(), error).get("/api/v1/pieces")
    assert answer.status_code == status
    assert answer.json() == {"error": {"subject": "The thing", "cause": "It is so.", "remedy": "Do that."}}
    assert ("retry-after" in answer.headers) == (status == 503)


def test_a_bug_tells_nothing_of_the_inside(opened):
    answer = broken(opened(lenient=True), RuntimeError("a secret path")).get("/api/v1/pieces")
    assert answer.status_code == 500 and set(answer.json()["error"]) == {"subject", "cause", "remedy"}
    assert "secret" not in answer.text and "Traceback" not in answer.text
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_wrong_addresses_methods_and_bodies(client):
    for method, path, status in (("GET", "/api/v1/nope", 404), ("PUT", "/api/v1/pieces", 405), ("POST", "/api/v1/settings", 405)):
        answer = client.request(method, path)
        assert answer.status_code == status and set(answer.json()["error"]) == {"subject", "cause", "remedy"}
    assert client.get("/static/../web/guard.py").status_code == client.get("/static/%2e%2e/web/guard.py").status_code == 404
    client.cookies.clear()
    assert client.put("/api/v1/pieces").headers["allow"]
    for content in (b"", b"{", b"[]", b"\xff", b'{"title": 3}', b'{"tilte": "a"}', b'{"title": "' + b"x" * 300 + b'"}'):
        answer = client.post("/api/v1/pieces", content=content, headers={"content-type": "application/json"})
        assert answer.status_code in (400, 422) and answer.json()["error"]["remedy"].endswith("."), content
    half = client.post("/api/v1/pieces", content=b'{"title": "\\ud800"}', headers={"content-type": "application/json"})
    assert half.status_code == 422
    assert client.get("/api/v1/pieces").json()["count"] == 0


def test_pages_are_told_in_html_and_nothing_is_taken_as_markup(opened):
    page = opened().get("/nowhere/<script>alert(1)</script>")
    assert page.status_code == 404 and page.headers["content-type"].startswith("text/html") and "<script>alert" not in page.text
    told = body(UsageError("a\ud800", "<b>", "c"))
    assert told["error"]["subject"] == "a\\ud800"


def test_the_page_of_an_error_falls_back_when_its_template_fails(opened):
    class Broken:
        def get_template(self, name):
            raise LookupError(name)

    client = opened()
    client.app.state.templates = Broken()
    assert "Nothing is here." in client.get("/nowhere").text
    assert status_of(WebError(421, "a", "b", "c")) == 421
