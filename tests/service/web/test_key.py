"""The access key: demanded off loopback, hashed, slow to try, ending earlier sign-ins when it changes; and rates."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.web import tokens
from service.web.guard import SESSION
from service.web.rate import Rate
from service.web.settings import WebSettings, is_loopback
from vision.errors import UsageError

OPEN_HOUSE = WebSettings(host="0.0.0.0", tries_a_minute=3)
KEY = "walnut and beeswax"


@pytest.fixture
def outside(opened, store):
    """A client of a service that others can reach."""
    tokens.set_key(store, KEY)
    return opened(settings=OPEN_HOUSE)


def sign_in(client, key: str = KEY, **more):
    client.cookies.clear()
    return client.post("/api/v1/access", data={"key": key, **more})


def test_loopback_is_told_from_the_rest():
    assert all(is_loopback(h) for h in ("127.0.0.1", "127.8.8.8", "localhost", "::1", "[::1]"))
    assert not any(is_loopback(h) for h in ("0.0.0.0", "::", "192.168.1.2", "bench.lan", ""))
    assert WebSettings(demand_key=True).key_demanded and not WebSettings().key_demanded and OPEN_HOUSE.key_demanded


def test_nothing_opens_without_the_key(outside):
    api, page = outside.get("/api/v1/pieces"), outside.get("/p/abc")
    assert api.status_code == 401 and set(api.json()["error"]) == {"subject", "cause", "remedy"}
    assert page.status_code == 303 and page.headers["location"] == "/key?next=/p/abc"
    assert outside.post("/api/v1/pieces", json={}).status_code == 401
    for address in ("/api/v1/openapi.json", "/api/v1/jobs/x/events", "/staticx", "/key/", "/api/v1/access/x"):
        assert outside.get(address).status_code in (303, 401), address


def test_signing_in_and_out(outside):
    assert sign_in(outside, "walnut and oil").status_code == 401
    done = sign_in(outside, next="/p/abc")
    assert done.status_code == 303 and done.headers["location"] == "/p/abc"
    kept = done.headers["set-cookie"].lower()
    assert "httponly" in kept and "samesite=strict" in kept and KEY not in kept
    session = {"cookie": f"{SESSION}={outside.cookies.get(SESSION)}"}
    assert outside.get("/api/v1/pieces", headers=session).status_code == 200
    outside.cookies.clear()
    assert outside.get("/api/v1/pieces", headers={"cookie": f"{SESSION}=9999999999.abc.def"}).status_code == 401
    tokens.set_key(outside.app.state.store, KEY + "!")
    assert outside.get("/api/v1/pieces", headers=session).status_code == 401, "a new key ends earlier sign-ins"


@pytest.mark.parametrize("drawn", [True, False])
def test_the_page_for_the_key_opens_the_door(outside, drawn):
    if not drawn:
        outside.app.state.templates = None
    elif outside.app.state.templates is None:
        pytest.skip("an install without pages")
    page = outside.get('/key?next=/p/"><b>x&wrong=1')
    assert page.status_code == 200 and "<b>x" not in page.text
    token = re.search(r'name="csrf" value="([^"]+)"', page.text)
    assert token is not None
    form = {"csrf": token[1], "key": KEY, "next": "/p/abc"}
    done = outside.post("/api/v1/access", data=form, headers={"origin": "http://127.0.0.1:8765"})
    assert done.status_code == 303 and done.headers["location"] == "/p/abc"
    assert outside.get("/api/v1/pieces").status_code == 200, "the browser is signed in"
    assert outside.delete("/api/v1/access", headers={"X-Bench-Token": token[1]}).status_code == 204
    assert outside.get("/api/v1/pieces").status_code == 401


@pytest.mark.parametrize("next_", ["//evil.example", "/\\evil.example", "http://evil.example", "javascript:1", "", "/a\nb"])
def test_signing_in_leads_nowhere_else(outside, next_):
    assert sign_in(outside, next=next_).headers["location"] == "/"


def test_a_browser_with_the_wrong_key_is_led_back(outside):
    page = outside.post("/api/v1/access", data={"key": "wrong", "next": "/p/x"}, headers={"accept": "text/html"})
    assert page.status_code == 303 and page.headers["location"] == "/key?wrong=1&next=/p/x"


def test_programs_send_the_key_in_a_header(outside):
    outside.cookies.clear()
    for _ in range(5):
        assert outside.get("/api/v1/pieces", headers={"authorization": f"Bearer {KEY}"}).status_code == 200
    assert outside.get("/api/v1/pieces", headers={"authorization": f"Basic {KEY}"}).status_code == 401


def test_trying_keys_is_limited(outside):
    assert [sign_in(outside, f"guess number {n}").status_code for n in range(4)] == [401, 401, 401, 429]
    assert sign_in(outside).status_code == 429, "the right one too, so that a guess learns nothing"
    assert outside.get("/api/v1/pieces", headers={"authorization": "Bearer guess"}).status_code == 429


def test_requests_are_limited_where_others_can_ask(opened, store):
    tokens.set_key(store, KEY)
    client = opened(settings=WebSettings(host="0.0.0.0", requests_a_minute=5))
    found = [client.get("/api/v1/pieces") for _ in range(8)]
    assert [r.status_code for r in found[:5]] == [401] * 5 and found[-1].status_code == 429 and "retry-after" in found[-1].headers
    here = opened()
    assert {here.get("/api/v1/pieces").status_code for _ in range(50)} == {200}


def test_the_key_is_kept_as_a_hash(store):
    with pytest.raises(UsageError):
        tokens.set_key(store, "short")
    tokens.set_key(store, KEY)
    kept = tokens.key_hash(store)
    assert kept is not None and kept.startswith("$argon2id$") and KEY not in kept
    assert tokens.key_fits(kept, KEY) and not tokens.key_fits(kept, KEY + " ") and not tokens.key_fits(None, KEY)
    assert not tokens.key_fits("rubbish", KEY) and not tokens.key_fits(kept, "x" * 10_000)
    tokens.forget_key(store)
    assert tokens.key_hash(store) is None


@given(st.text(max_size=80), st.integers(0, 2**40))
def test_sessions_cannot_be_made_up(text, end):
    sessions = tokens.Sessions(b"s" * 32, now=lambda: 1000.0)
    good = sessions.begin("hash", 60)
    assert sessions.holds(good, "hash") and not sessions.holds(good, "other hash") and not sessions.holds(good, None)
    assert not sessions.holds(text, "hash") and not sessions.holds(f"{end}.{text}", "hash")
    later = tokens.Sessions(b"s" * 32, now=lambda: 1061.0)
    assert not later.holds(good, "hash") and not tokens.Sessions(b"t" * 32, now=lambda: 1000.0).holds(good, "hash")


@given(st.lists(st.floats(0, 30), min_size=1, max_size=60))
def test_a_bucket_never_gives_more_than_its_rate(pauses):
    now = [0.0]
    rate, given_out = Rate(6, now=lambda: now[0]), 0
    for pause in pauses:
        now[0] += pause
        given_out += rate.allows("a")
    assert given_out <= 6 + now[0] * 6 / 60 + 1e-6
    assert rate.allows("b"), "clients do not spend each other's"
