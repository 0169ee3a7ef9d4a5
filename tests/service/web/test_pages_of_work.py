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
    assert "<Macro" not in answer.text and "&lt;Macro" not in answer.text
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
    assert "Before you start" in page and "Refused: " in page
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
    assert "<span>Paid</span><b>40</b>" in read(client, f"/p/{piece}/ledger")
    assert json.loads(client.get(f"/api/v1/pieces/{piece}/ledger").text)["pieces"][0]["paid"] == 40


def test_the_old_finish_is_found_by_links_and_never_the_material(served):
    client, _, piece = served
    page = read(client, f"/p/{piece}/finish")
    assert "Mineral spirits on a hidden spot" in page and "never what the part is made of" in page
    page = read(client, f"/p/{piece}/finish?mineral_spirits=nothing&alcohol=dissolves")
    assert "The old finish: shellac" in page
    assert "Cannot tell" in read(client, f"/p/{piece}/finish?lacquer_thinner=dissolves")
    assert client.get(f"/p/{piece}/finish?alcohol=fizzes").status_code == 422


def test_a_form_that_comes_twice_counts_once_and_a_later_word_wins(served):
    client, store, piece = served
    page = read(client, f"/p/{piece}/aisle")
    data = {"csrf": field(page, "csrf"), "key": "gate/mould", "answer": "none", "client_key": "k1",
            "said_at": "2026-01-05T10:00:00Z"}
    later = {**data, "answer": "cannot_say", "client_key": "k2", "said_at": "2026-01-05T11:00:00+00:00"}
    for sent in (later, data, data):
        assert client.post(f"/p/{piece}/aisle", data=sent, follow_redirects=False).status_code == 303
    assert len(store.answers.history(piece)) == 2
    assert [a.body for a in store.answers.latest(piece)] == ["cannot_say"]


def test_what_an_answer_did_is_said_at_once(served):
    client, _, piece = served
    page = read(client, f"/p/{piece}/aisle")
    said = {"csrf": field(page, "csrf"), "key": "gate/mould", "answer": "musty"}
    done = client.post(f"/p/{piece}/aisle", data=said, follow_redirects=False)
    assert 'class="said"' in read(client, done.headers["location"])
    said |= {"key": "top/hole", "answer": "particles"}
    page = read(client, client.post(f"/p/{piece}/aisle", data=said, follow_redirects=False).headers["location"])
    assert " to 1 for " in page and "Top: " in page


def test_the_checks_of_one_part_by_plain_forms(served):
    client, store, piece = served
    url = f"/p/{piece}/check/top"
    page = read(client, url)
    assert page.count('aria-pressed="true"') == 0 and page.count("<svg") >= 5
    data = {"csrf": field(page, "csrf"), "key": "top/hole", "answer": "particles"}
    assert client.post(url, data=data, follow_redirects=False).headers["location"].endswith("#hole")
    page = read(client, url)
    assert page.count('aria-pressed="true"') == 1 and " to 1 for " in page
    client.post(url, data={**data, "answer": ""})
    assert not store.answers.latest(piece)
    assert client.post(url, data={**data, "key": "side/hole"}).status_code == 422
    assert client.get(f"/p/{piece}/check/roof").status_code == 422


def test_a_finish_told_is_kept_for_the_plan(served):
    client, store, piece = served
    told.keep_answer(store, piece, None, "top/known", "solid_wood/lumber")
    page = read(client, f"/p/{piece}/finish?mineral_spirits=nothing&alcohol=dissolves")
    data = {"csrf": field(page, "csrf"), "finish": "shellac", "part": ""}
    done = client.post(f"/p/{piece}/finish", data=data, follow_redirects=False)
    assert done.status_code == 303
    assert told.kept(store, piece, told.PLAN, "request")["parts"]["top"]["old_finish"] == "shellac"
    assert client.post(f"/p/{piece}/finish", data={"csrf": field(page, "csrf"), "finish": "syrup"}).status_code == 422


def pressed(client, url, page, **fields):
    """A form sent; where it leads to is read."""
    done = client.post(url, data={"csrf": field(page, "csrf"), **fields}, follow_redirects=False)
    assert done.status_code == 303, done.text
    return read(client, done.headers["location"].partition("#")[0])


def test_ticks_and_prices_of_a_plan_are_kept(served):
    client, store, piece = served
    told.keep_answer(store, piece, None, "top/known", "printed/particle_board")
    url = f"/p/{piece}/plan"
    page = pressed(client, url, read(client, url), **{"top|goal": "paint", "top|size": "1200x500mm", "hours": "2.5"})
    ticks = re.findall(r'name="(tick\|[^"]+)"', page)
    assert len(ticks) > 3 and page.count(f"0 of {len(ticks)} done") == 1
    page = pressed(client, f"/p/{piece}/ticks", page, **{ticks[0]: "on", ticks[2]: "on"})
    assert f"2 of {len(ticks)} done" in page and f'name="{ticks[2]}" checked' in page
    page = pressed(client, f"/p/{piece}/prices", page, **{"currency": "EUR", "price|enamel": "0.75 L = 28, 2.5 L = 71"})
    assert "28.00 EUR" in page and 'value="0.75 L = 28, 2.5 L = 71"' in page
    wrong = {"csrf": field(page, "csrf"), "price|enamel": "one bucket = 3"}
    assert client.post(f"/p/{piece}/prices", data=wrong).status_code == 422
    assert told.user(store)["prices"]["prices"]["enamel"]["0.75 L"] == 28


def test_a_refused_goal_shows_its_reason_and_cannot_be_chosen(served):
    client, store, piece = served
    told.keep_answer(store, piece, None, "top/known", "printed/particle_board")
    page = read(client, f"/p/{piece}/plan")
    assert "Refused: back to bare wood and a new colour." in page and 'value="restain"' not in page
    assert page.index("Before you start") < page.index("What do you want to do?")


def test_buy_or_leave_and_a_deal_breaker(served):
    client, store, piece = served
    url = f"/p/{piece}/deal"
    form = {"currency": "EUR", "asked": "60", "rate": "18", "solid|sale": "300-480", "solid|hours": "4-8", "solid|chance": "50",
            "solid|materials": "15-40", "print|sale": "50-110", "print|hours": "3-6", "print|chance": "50"}
    page = pressed(client, url, read(client, url), **form)
    assert "At 60 EUR: " in page and "Nothing is gained on average above" in page and 'value="300-480"' in page
    told.keep_answer(store, piece, None, "top/hole", "particles")
    page = pressed(client, url, page, **form, **{"veneer|sale": "150-200", "other|sale": "50-80"}, part="top")
    assert "Worth looking at before you pay" in page or "By what it turns out to be" in page
    told.keep_answer(store, piece, None, "gate/smoke", "soot")
    page = read(client, url)
    assert 'role="alert"' in page and "Nothing is gained" not in page
    assert pressed(client, url, page, **form), "figures are kept all the same"


def test_carrying_it(served):
    client, _, piece = served
    url = f"/p/{piece}/haul"
    page = pressed(client, url, read(client, url), size="900x450x1100mm", case="1", door="780x2000mm", vehicle="700x400x900mm")
    assert "it fits" in page and "does not fit along its sides" in page and "a rough estimate" in page
    page = pressed(client, url, page, size="900x450x1100mm", mass="32kg", stairs="1")
    assert "32 kg, by your scale" in page and "People to carry it" in page
    assert client.post(url, data={"csrf": field(page, "csrf"), "size": "big"}).status_code == 422


def test_the_ledger_foresees_reveals_and_takes_back(served):
    client, store, piece = served
    told.keep_answer(store, piece, None, "top/hole", "particles")
    url = f"/p/{piece}/ledger"
    page = pressed(client, url, read(client, url), kind="planned", hours="4", sale="300", materials="20")
    for kind, number in (("paid", "40"), ("worked", "5,5"), ("spent", "25"), ("sold", "280")):
        page = pressed(client, url, page, kind=kind, number=number)
    assert "5.5 (foreseen 4)" in page and "215 (foreseen 240)" in page
    page = pressed(client, url, page, kind="revealed", part="top", face="printed", core="particle_board", how="stripped")
    assert "printed surface on" in page and "Too few pieces to say" in page
    line = re.search(r'sold for</b> 280.*?name="voids" value="([^"]+)"', page, re.S).group(1)
    page = pressed(client, url, page, kind="void", voids=line)
    assert "sold for</b> 280" not in page and "(foreseen 240)" not in page
    assert client.post(url, data={"csrf": field(page, "csrf"), "kind": "paid", "number": "a lot"}).status_code == 422
    assert client.post(url, data={"csrf": field(page, "csrf"), "kind": "void", "voids": "nothing"}).status_code == 422
