"""What every request passes and every response carries: headers, host, same-site, token."""

from __future__ import annotations

import asyncio

import httpx
import pytest

from service.web.guard import CSRF_FIELD, CSRF_HEADER, HEADERS, REPORT_CSP, VISIT
from service.web.hosts import allowed
from service.web.settings import WebSettings
from tests.service.store.store_made import photo_bytes

PIECES = "/api/v1/pieces"


@pytest.fixture
def browser(client):
    """A client with the cookie of a visit, as a browser has after its first page."""
    client.get("/api/v1/token")
    assert client.cookies.get(VISIT)
    return client


def token(client) -> str:
    return client.get("/api/v1/token").json()["csrf"]


def test_every_response_carries_the_headers(client):
    answers = [client.post(PIECES, json={"a": 1}), client.get("/nowhere"), client.get("/api/v1/nowhere"), client.get(PIECES),
               client.get(PIECES, headers={"host": "evil.example"})]  # fmt: skip
    assert [a.status_code for a in answers] == [422, 404, 404, 200, 421]
    for answer in answers:
        assert {k: answer.headers.get(k) for k in HEADERS} == HEADERS
    policy = HEADERS["Content-Security-Policy"]
    assert "default-src 'self'" in policy and "unsafe" not in policy and "http" not in policy
    assert "script" not in REPORT_CSP and "default-src 'none'" in REPORT_CSP and "sandbox" in REPORT_CSP


@pytest.mark.parametrize(("host", "fits"), [
    ("127.0.0.1:8765", True), ("localhost", True), ("[::1]:8765", True), ("192.168.1.7:8765", True), ("bench.lan", True),
    ("LOCALHOST:1", True), ("evil.example", False), ("127.0.0.1.evil.example", False), ("", False), ("a b", False),
    ("localhost@evil.example", False), ("localhost:99999999", False),
])  # fmt: skip
def test_only_own_names_are_answered(host, fits):
    assert allowed(host, WebSettings(names=("bench.lan",))) == fits


def test_a_program_needs_no_token(client):
    assert client.post(PIECES, json={}).status_code == 201


@pytest.mark.parametrize("headers", [
    {"origin": "http://evil.example"}, {"origin": "null"}, {"sec-fetch-site": "cross-site"}, {"sec-fetch-site": "same-site"},
    {"origin": "http://127.0.0.1:1"}, {"origin": "http://127.0.0.1:8765"}, {"sec-fetch-site": "same-origin"},
    {"cookie": f"{VISIT}={'A' * 22}"}, {"cookie": "other=1"}, {"referer": "http://evil.example/"},
])  # fmt: skip
def test_a_browser_without_the_token_changes_nothing(client, headers):
    assert client.post(PIECES, json={}, headers=headers).status_code == 403
    assert client.get(PIECES).json()["count"] == 0


def test_the_token_of_the_visit_opens(browser):
    headers = {CSRF_HEADER: token(browser), "origin": "http://127.0.0.1:8765", "sec-fetch-site": "same-origin"}
    assert browser.post(PIECES, json={}, headers=headers).status_code == 201
    assert browser.post(PIECES, json={}, headers={**headers, "origin": "http://evil.example"}).status_code == 403
    assert browser.post(PIECES, json={}, headers={**headers, CSRF_HEADER: headers[CSRF_HEADER][::-1]}).status_code == 403
    kept = headers[CSRF_HEADER]
    browser.cookies.clear()
    browser.get("/api/v1/token")
    assert browser.post(PIECES, json={}, headers={**headers, CSRF_HEADER: kept}).status_code == 403, "of another visit"


def test_the_token_in_a_form_opens(browser, opened):
    piece = PIECES + "/" + browser.post(PIECES, json={}, headers={CSRF_HEADER: token(browser)}).json()["id"]
    good, photo = {CSRF_FIELD: token(browser)}, {"photo": photo_bytes(1, width=300, height=200)}
    assert browser.post(piece + "/photos", data=good, files=photo).status_code == 201, "the whole form is handed on"
    assert browser.post(piece + "/photos", data={CSRF_FIELD: "A" * 43}, files=photo).status_code == 403
    assert browser.post(piece + "/photos", files=photo).status_code == 403
    wrong = browser.post("/api/v1/access", data={**good, "key": "not the key"})
    assert wrong.status_code == 401, "past the token, stopped by the key"
    assert browser.post("/api/v1/access", data={"key": "not the key"}).status_code == 403


def test_a_form_in_small_pieces_is_read_whole(browser):
    app, cookie, good = browser.app, browser.cookies.get(VISIT), token(browser)
    piece = PIECES + "/" + browser.post(PIECES, json={}, headers={CSRF_HEADER: good}).json()["id"]
    data = photo_bytes(2, width=200, height=150)
    body = (f'--x\r\nContent-Disposition: form-data; name="csrf"\r\n\r\n{good}\r\n--x\r\nContent-Disposition: form-data; '
            f'name="photo"; filename="a"\r\n\r\n').encode() + data + b"\r\n--x--\r\n"  # fmt: skip

    async def send() -> int:
        async def parts():
            for k in range(0, len(body), 57):
                yield body[k : k + 57]

        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://127.0.0.1:8765") as client:
            headers = {"content-type": "multipart/form-data; boundary=x", "cookie": f"{VISIT}={cookie}"}
            return (await client.post(piece + "/photos", content=parts(), headers=headers)).status_code

    assert asyncio.run(send()) == 201


def test_tokens_survive_a_restart(browser, opened):
    cookie, good = browser.cookies.get(VISIT), token(browser)
    again = opened()
    again.cookies.set(VISIT, cookie)
    assert again.post(PIECES, json={}, headers={CSRF_HEADER: good}).status_code == 201


def test_cookies_are_closed_to_scripts_and_other_sites(client, opened):
    for page in (client.get("/nowhere"), client.get("/api/v1/token")):
        kept = page.headers["set-cookie"].lower()
        assert "httponly" in kept and "samesite=strict" in kept and "secure" not in kept
    safe = opened(base_url="https://127.0.0.1:8765")
    assert all("secure" in safe.get(p).headers["set-cookie"].lower() for p in ("/nowhere", "/api/v1/token"))


def test_what_pages_are_made_of_is_asked_for_again_each_time(client):
    answer = client.get("/static/none.js")
    assert answer.headers["cache-control"] == "no-cache" and answer.headers["service-worker-allowed"] == "/"
