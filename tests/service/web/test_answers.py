"""Answers, routine, plan, sale, money, ledger and settings through the API say what the rooms behind them say."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from service.web.worker import Worker
from tests.service.chest import ChestEngine, chest_photo

API = "/api/v1"
DOCS = Path(__file__).resolve().parents[3] / "docs"


@pytest.fixture
def assessed(client, piece, store, tmp_path) -> str:
    """Address of a piece that was assessed."""
    client.post(piece + "/photos", files={"photo": chest_photo(tmp_path / "a.jpg").read_bytes()})
    client.post(piece + "/assessments", json={})
    Worker(store, ChestEngine()).one()
    return piece


def give(client, piece, *answers, **more):
    return client.put(piece + "/answers", json={"answers": [{"key": k, "answer": a, **more} for k, a in answers]})


def test_hand_checks_join_the_photo_verdict(client, assessed):
    before = client.get(assessed + "/checks/top").json()
    found = give(client, assessed, ("top/hole", "particles"), ("top/size", "500x1200mm"), ("side/known", "opaque/fibreboard"))
    assert found.status_code == 200
    parts = {p["part"]: p for p in found.json()["checks"]}
    assert parts["top"]["core"] == "particle_board" and before["core"] is None
    told = found.json()["answers"]["parts"]
    assert told["top"]["size_mm"] == [1200.0, 500.0] and told["side"]["confirmed"] == {"face": "opaque", "core": "fibreboard"}
    taken = give(client, assessed, ("top/hole", None)).json()
    assert taken["answers"]["parts"]["top"]["answers"] == {} and "size_mm" in taken["answers"]["parts"]["top"]
    weighed = give(client, assessed, ("top/weighed", "5.9kg, 1000x500x18mm, pine")).json()["answers"]["parts"]["top"]["weighed"]
    assert weighed["mass"] == pytest.approx(5.9) and weighed["wood"] == "pine"


@pytest.mark.parametrize("key", ["top", "gate/nothing", "wing/hole", "top/nothing", "/hole", "gate/", "top/hole/x"])
def test_an_answer_without_sense_refuses_all_of_them(client, assessed, key):
    before = client.get(assessed + "/answers").json()
    assert give(client, assessed, ("gate/mould", "none"), (key, "particles")).status_code == 422
    assert client.get(assessed + "/answers").json() == before


def test_answers_without_a_photo_and_without_a_signal(client, piece):
    late, early = "2026-03-01T12:00:00Z", "2026-03-01T14:00:00+03:00"
    assert give(client, piece, ("gate/mould", "none"), said=late).status_code == 200
    found = give(client, piece, ("gate/mould", "cannot_say"), said=early).json()
    assert found["answers"]["gate"] == {"mould": "none"}, "the answer said later counts, whenever it arrives"
    twice = [give(client, piece, ("top/hole", "particles"), client_key="a") for _ in range(2)]
    assert twice[0].json() == twice[1].json() and twice[0].status_code == 200
    assert give(client, piece, ("gate/mould", "none"), said="2026-03-01T12:00:00").status_code == 422, "no zone"
    assert give(client, piece, ("gate/mould", "none"), said="9999-12-31T23:59:59-12:00").status_code == 200
    assert client.get(piece + "/checks/top").status_code == 200 and client.get(piece + "/checks/wing").status_code == 422


def test_the_routine_asks_until_a_deal_breaker(client, assessed):
    asked = []
    while (now := client.get(assessed + "/aisle?minutes=30").json())["next"] is not None:
        key = now["next"]["key"]
        assert key not in asked, "asked again"
        asked.append(key)
        worst = next((a["key"] for a in now["next"]["answers"]), None)
        assert give(client, assessed, (key, worst)).status_code == 200
        if len(asked) > 60:
            break
    assert asked[0].startswith("gate/") and now["over"]
    assert client.get(assessed + "/aisle?goal=fly").status_code == 422
    assert client.get(assessed + "/aisle?part=wing").status_code == 422


def test_the_plan_is_that_of_the_command(client, assessed):
    asked = tomllib.loads((DOCS / "plan.toml").read_text(encoding="utf-8"))
    asked["start"] = asked["start"].isoformat()
    asked["parts"] = {k: v for k, v in asked["parts"].items() if k in ("top", "side", "drawer_front")}
    found = client.put(assessed + "/plan", json={"request": asked})
    assert found.status_code == 200 and found.json()["schema"].startswith("grainassay.plan/1.")
    top = next(p for p in found.json()["parts"] if p["id"] == "top")
    assert top["goal"] == "paint" and top["route"]["steps"] and found.json()["calendar"][0]["begin"].startswith("2026-03-")
    again = client.get(assessed + "/plan").json()
    assert again == {**found.json(), "request": asked}
    assert client.get(assessed + "/plan/calendar").text.startswith("BEGIN:VCALENDAR")
    for wrong in ({"goal": "fly"}, {"hours": 1e300}, {"hours": {"mon": -1}}, {"start": "9999-01-01"}, {"parts": {"wing": {}}},
                  {"parts": {"top": 3}}, {"first_hour": 99}, {"where": "moon"}):  # fmt: skip
        assert client.put(assessed + "/plan", json={"request": wrong}).status_code == 422, wrong
    assert client.get(assessed + "/plan").json() == again, "a request that makes no sense changes nothing"


def test_prices_and_units_are_the_users(client, assessed):
    prices = tomllib.loads((DOCS / "prices.toml").read_text(encoding="utf-8"))
    assert client.put(f"{API}/settings", json={"prices": prices, "units": "us", "goal": "paint"}).status_code == 200
    assert client.put(f"{API}/settings", json={"units": "metric"}).json()["prices"] == prices
    for wrong in ({"prices": {"prices": {"moon_dust": 1}}}, {"goal": "fly"}, {"units": "cubits"}, {"colour": "red"}):
        assert client.put(f"{API}/settings", json=wrong).status_code == 422
    assert client.get(f"{API}/settings").json()["goal"] == "paint"
    parts = {"top": {"goal": "paint", "size": "1200x500mm"}}
    cost = client.put(assessed + "/plan", json={"request": {"parts": parts}}).json()["cost"]
    assert cost["currency"] == prices["currency"] and cost["priced"] > 0
    assert client.put(f"{API}/settings", json={"prices": None}).json()["prices"] is None


def test_the_advert_says_no_more_than_is_known(client, assessed):
    found = client.put(assessed + "/advert", json={"piece": "chest of drawers", "price": 120, "currency": "EUR"}).json()
    assert "solid" not in " ".join(found["text"]).lower().replace("solid wood or", "") and "Price: 120 EUR." in found["text"]
    assert client.get(assessed + "/advert").json() == found
    assert client.put(assessed + "/advert", json={"piece": "solid oak chest"}).status_code == 422
    assert client.put(assessed + "/advert", json={"piece": "chest", "size": "900x450"}).status_code == 422


def test_carrying_and_buying(client, assessed):
    assert client.get(assessed + "/haul").status_code == 404 and client.get(assessed + "/deal").status_code == 404
    asked = {"size": "900x450x1100mm", "mass": "32kg", "door": "800x2000mm", "stairs": True}
    found = client.put(assessed + "/haul", json=asked).json()
    assert found["fits_door"] is True and found["mass_kg"] == [32.0, 32.0] and client.get(assessed + "/haul").json() == found
    assert client.put(assessed + "/haul", json={"size": "900mm"}).status_code == 422
    deal = tomllib.loads((DOCS / "deal.toml").read_text(encoding="utf-8"))
    found = client.put(assessed + "/deal", json={"deal": deal, "part": "top"})
    assert found.status_code == 200 and found.json()["schema"].startswith("grainassay.deal/1.")
    assert sum(found.json()["chances"].values()) == pytest.approx(1, abs=1e-3)
    asked = {"deal": deal, "part": "top", "exchange": None}
    assert client.get(assessed + "/deal").json() == {**found.json(), "asked_with": asked}
    assert client.put(assessed + "/deal", json={"deal": {}}).status_code == 422


def test_the_ledger_is_only_added_to(client, assessed):
    def add(**event):
        return client.post(assessed + "/ledger", json=event)

    add(kind="paid", numbers={"amount": 30}, at="2026-03-02", client_key="one")
    same = add(kind="paid", numbers={"amount": 30}, at="2026-03-02", client_key="one")
    assert [e["kind"] for e in same.json()["events"]] == ["paid"]
    add(kind="worked", numbers={"hours": 4})
    add(kind="sold", numbers={"amount": 130, "fees": 10}, at="2026-03-20")
    row = client.get(assessed + "/ledger").json()["pieces"][0]
    assert row["profit"] == pytest.approx(90) and row["days"] == pytest.approx(18)
    shown = add(kind="revealed", part="top", face="veneer", core="plywood", how="stripped").json()["events"][-1]
    (label,) = client.get(f"{API}/labels").json()["labels"]
    photo = client.get(assessed + "/photos").json()["photos"][0]
    assert label["face"]["key"] == "veneer" and label["photos"][0]["sha256"] == photo["sha256"]
    add(kind="void", voids=shown["id"])
    assert client.get(f"{API}/labels").json()["labels"] == [] and len(client.get(f"{API}/ledger").json()["events"]) == 3
    for wrong in ({"kind": "paid"}, {"kind": "gift", "numbers": {"amount": 1}}, {"kind": "void", "voids": "nothing"},
                  {"kind": "paid", "numbers": {"amount": -1}}, {"kind": "revealed", "part": "wing", "face": "veneer"},
                  {"kind": "note", "at": "yesterday"}):  # fmt: skip
        assert add(**wrong).status_code == 422, wrong
    assert client.delete(assessed).status_code == 204 and client.get(f"{API}/ledger").json()["events"] == []


def test_pieces_are_changed_found_and_deleted_for_good(client, piece, store):
    assert client.patch(piece, json={"notes": "aus dem Trödel"}).json()["title"] == "Chest"
    assert [p["title"] for p in client.get(f"{API}/pieces?words=TRODEL chest").json()["pieces"]] == ["Chest"]
    assert client.get(f"{API}/pieces?words=table").json() == {"pieces": [], "count": 1}
    key = {"title": "Desk", "client_key": "abc"}
    assert client.post(f"{API}/pieces", json=key).json()["id"] == client.post(f"{API}/pieces", json=key).json()["id"]
    client.post(piece + "/photos", files={"photo": chest_photo(store.folder.root.parent / "a.jpg").read_bytes()})
    assert client.delete(piece).status_code == 204 and client.get(piece).status_code == 404
    assert not [f for kind in ("photos", "derived") for f in (store.folder.root / kind).rglob("*") if f.is_file()]
