"""Pages beside the piece, of the plan and the sale: plain forms, one after another, as a thumb would."""

import json
import re

import pytest
from fastapi.testclient import TestClient

from service.contract import to_json
from service.store import Store
from service.web import told
from service.web.app import create_app
from tests.service.chest import chest_document
from tests.service.web.test_result_view import Checked

BASE = "http://127.0.0.1:8765"


@pytest.fixture
def served(tmp_path):
    with Store(tmp_path / "store") as store:
        piece = store.pieces.create("Chest")
        with TestClient(create_app(store), base_url=BASE) as client:
            yield client, store, piece.id


def read(client, url):
    answer = client.get(url)
    assert answer.status_code == 200, answer.text
    found = Checked()
    found.feed(answer.text)
    assert not found.wrong and found.tokens >= found.forms
    return answer.text


def field(page, name):
    return re.search(rf'name="{name}" value="([^"]*)"', page).group(1)


def press(client, url, page, answer):
    data = {"csrf": field(page, "csrf"), "key": field(page, "key"), "answer": answer, "goal": "", "minutes": "3"}
    done = client.post(url, data=data, follow_redirects=False)
    assert done.status_code == 303, done.text
    return read(client, done.headers["location"])


def test_one_question_a_screen_kept_and_taken_back(served):
    client, store, piece = served
    url = f"/p/{piece}/aisle"
    page = read(client, url)
    first = field(page, "key")
    page = press(client, url, page, "none")
    assert field(page, "key") != first
    assert {a.question for a in store.answers.latest(piece)} == {first.split("/")[1]}
    back = re.search(r'name="key" value="([^"]+)"><input type="hidden" name="answer" value="">', page).group(1)
    assert back == first
    client.post(url, data={"csrf": field(page, "csrf"), "key": back, "answer": "", "minutes": "3"})
    assert not store.answers.latest(piece) and field(read(client, url), "key") == first


def test_a_deal_breaker_ends_the_asking(served):
    client, store, piece = served
    told.keep_answer(store, piece, None, "gate/smoke", "soot")
    page = read(client, f"/p/{piece}/aisle")
    assert "Deal-breaker" in page and 'class="big' not in page


def test_a_plan_is_chosen_and_its_sheet_and_calendar_come(served, tmp_path):
    client, store, piece = served
    assert "Look at the photos first" in read(client, f"/p/{piece}/plan")
    told.keep_answer(store, piece, None, "top/known", "printed/particle_board")
    page = read(client, f"/p/{piece}/plan")
    assert "Before you start" in page and "Not open to it" in page
    data = {"csrf": field(page, "csrf"), "top|goal": "paint", "top|size": "1200x500mm", "where": "us", "before_1978": ""}
    assert client.post(f"/p/{piece}/plan", data=data, follow_redirects=False).status_code == 303
    page = read(client, f"/p/{piece}/plan")
    assert "Prime with a bonding primer" in page and "To buy" in page and "United States" in page
    sheet = client.get(f"/p/{piece}/sheet")
    assert "Work sheet" in sheet.text and "sandbox" in sheet.headers["content-security-policy"]
    assert client.get(f"/api/v1/pieces/{piece}/plan/calendar").text.startswith("BEGIN:VCALENDAR")


def test_a_goal_that_is_refused_cannot_be_forced_into_steps(served):
    client, store, piece = served
    told.keep_answer(store, piece, None, "top/known", "printed/particle_board")
    page = read(client, f"/p/{piece}/plan")
    client.post(f"/p/{piece}/plan", data={"csrf": field(page, "csrf"), "top|goal": "restain", "top|size": "1200x500mm"})
    page = read(client, f"/p/{piece}/plan")
    assert "Strip the old finish" not in page and "The figure is a print" in page


def test_the_advert_and_the_ledger_through_forms(served, tmp_path):
    client, store, piece = served
    doc = chest_document(tmp_path)
    store.papers.add(piece, "assessment", to_json(doc))
    page = read(client, f"/p/{piece}/sell")
    token = field(page, "csrf")
    done = client.post(f"/p/{piece}/sell", data={"csrf": token, "name": "chest of drawers", "price": "120", "currency": "EUR"},
                       follow_redirects=False)
    assert done.status_code == 303
    page = read(client, f"/p/{piece}/sell")
    assert "Chest of drawers" in page and "Price: 120 EUR." in page
    client.post(f"/p/{piece}/ledger", data={"csrf": token, "kind": "paid", "number": "40"})
    assert "paid 40" in read(client, f"/p/{piece}/sell")
    assert json.loads(client.get(f"/api/v1/pieces/{piece}/ledger").text)["pieces"][0]["paid"] == 40


def test_the_old_finish_is_found_by_links_and_never_the_material(served):
    client, _, piece = served
    page = read(client, f"/p/{piece}/finish")
    assert "Mineral spirits on a hidden spot" in page and "never what the part is made of" in page
    page = read(client, f"/p/{piece}/finish?mineral_spirits=nothing&alcohol=dissolves")
    assert "The old finish: shellac" in page
    assert "Cannot tell" in read(client, f"/p/{piece}/finish?lacquer_thinner=dissolves")
    assert client.get(f"/p/{piece}/finish?alcohol=fizzes").status_code == 422
