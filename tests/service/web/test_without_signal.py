"""A piece on a phone that loses its signal, in Debian's Chromium: pages stay, the asking goes on, answers are sent later."""

import time

import pytest

from service.web import told
from tests.service.chest import chest_document
from tests.service.web.test_browser import CHROMIUM, address, begin, browser, look, phone  # noqa: F401

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed")
KEPT = """async piece => {
  const names = (await (await caches.open('bench-pages-1')).keys()).map(r => new URL(r.url).pathname);
  return ['', '/aisle', '/aisle.json', '/plan', '/sell', '/finish'].every(p => names.includes(`/p/${piece}${p}`))
    && names.includes('/aisle-tables.json') && names.includes('/static/aisle.js');
}"""


def wait_until(page, script, arg=None):
    """Waits for a script's promise of true; the page's own waiting takes any promise for true."""
    end = time.monotonic() + 20
    while not page.evaluate(script, arg):
        assert time.monotonic() < end, script
        page.wait_for_timeout(50)


def kept_here(page):
    """Waits until the service worker has all pages of the piece; its id."""
    piece = page.url.rsplit("/p/", 1)[1].split("/")[0]
    page.evaluate("navigator.serviceWorker.ready")
    page.reload()
    page.wait_for_function("() => navigator.serviceWorker.controller")
    wait_until(page, KEPT, piece)
    return piece


def said(page, piece):
    return page.request.get(f"/api/v1/pieces/{piece}/answers").json()


def gone_out(page):
    wait_until(page, "async () => (await waiting.all()).length === 0")


def test_the_asking_goes_on_without_a_signal_and_answers_follow(phone):  # noqa: F811
    begin(phone)
    piece = kept_here(phone)
    phone.goto(f"/p/{piece}/aisle")
    phone.wait_for_selector("#ask button[type=button]")
    phone.context.set_offline(True)
    asked = []
    for _ in range(13):
        asked.append(phone.locator("#q").inner_text())
        phone.locator("button.big").first.click()
        phone.wait_for_function("t => document.getElementById('q').innerText !== t", arg=asked[-1])
    assert len(set(asked)) == 13
    assert phone.locator("#signal").inner_text().count("wait on this phone") == 1
    here = phone.locator("#q").inner_text()
    phone.reload()  # without a signal, from what is kept
    phone.wait_for_function("t => document.getElementById('q').innerText === t", arg=here)
    phone.get_by_role("button", name="Take the last answer back").click()
    phone.wait_for_function("t => document.getElementById('q').innerText === t", arg=asked[-1])
    phone.context.set_offline(False)
    gone_out(phone)
    found = said(phone, piece)
    hand = sum(len(p["answers"]) for p in found["answers"]["parts"].values())
    assert len(found["answers"]["gate"]) + hand == 12
    phone.reload()
    phone.wait_for_function("t => document.getElementById('q').innerText === t", arg=asked[-1])


def test_plan_and_sale_are_read_and_written_without_a_signal(phone, tmp_path):  # noqa: F811
    begin(phone)
    look(phone, tmp_path)
    piece = kept_here(phone)
    phone.context.set_offline(True)
    phone.goto(f"/p/{piece}")
    assert phone.locator("figure img").first.evaluate("i => i.complete && i.naturalWidth > 0"), "the photo is there"
    phone.goto(f"/p/{piece}/plan")
    phone.get_by_text("Place, days, coats").click()
    phone.locator("select[name=where]").select_option("us")
    phone.locator("form[data-refill] button").last.click()
    phone.locator("#signal", has_text="waits on this phone").wait_for()
    assert phone.locator("select[name=where]").input_value() == "us", "what waits stands in the form again"
    phone.goto(f"/p/{piece}/sell")
    phone.get_by_label("What it is", exact=True).fill("chest of drawers")
    phone.get_by_role("button", name="Write the advert").click()
    phone.locator("#signal", has_text="2 entries wait").wait_for()
    phone.context.set_offline(False)
    gone_out(phone)
    assert phone.request.get(f"/api/v1/pieces/{piece}/plan").json()["request"]["where"] == "us"
    assert phone.request.get(f"/api/v1/pieces/{piece}/advert").json()["facts"]["piece"] == "chest of drawers"


def test_the_later_answer_wins_whichever_comes_first(phone):  # noqa: F811
    begin(phone)
    piece = kept_here(phone)
    phone.goto(f"/p/{piece}/aisle")
    phone.wait_for_selector("#ask button[type=button]")
    phone.context.set_offline(True)
    phone.locator("button.big").first.click()
    wait_until(phone, "async () => (await waiting.all()).length === 1")
    key = phone.evaluate("async () => new URLSearchParams((await waiting.all())[0].body).get('key')")
    # Said elsewhere afterwards, and there first.
    put = phone.request.put(f"/api/v1/pieces/{piece}/answers", data={"answers": [{"key": key, "answer": "not_looked"}]},
                            headers={"X-Bench-Token": phone.evaluate("bench.token()")})
    assert put.ok
    phone.context.set_offline(False)
    gone_out(phone)
    assert said(phone, piece)["answers"]["gate"][key.split("/")[1]] == "not_looked"


def test_what_the_service_refuses_is_shown_and_let_go(phone):  # noqa: F811
    begin(phone)
    piece = kept_here(phone)
    phone.goto(f"/p/{piece}/sell")
    phone.context.set_offline(True)
    phone.get_by_label("Price").fill("much")
    phone.get_by_role("button", name="Write the advert").click()
    phone.locator("#signal", has_text="waits").wait_for()
    phone.context.set_offline(False)
    phone.locator("#signal .wrong").wait_for()
    assert "is no number" in phone.locator("#signal .wrong").inner_text()
    phone.get_by_role("button", name="Let it go").click()
    phone.wait_for_function("() => document.getElementById('signal').hidden")


def test_a_deleted_piece_leaves_nothing_on_the_phone(phone, tmp_path):  # noqa: F811
    begin(phone)
    look(phone, tmp_path)
    piece = kept_here(phone)
    phone.goto(f"/p/{piece}/delete")
    phone.locator("main form button").click()
    phone.wait_for_url("**/")
    wait_until(phone, "async p => (await (await caches.open('bench-pages-1')).keys()).every(r => !r.url.includes(p))", piece)


def test_the_page_of_one_part_follows_each_answer(phone):  # noqa: F811
    begin(phone)
    piece = kept_here(phone)
    phone.goto(f"/p/{piece}/check/top")
    phone.context.set_offline(True)
    phone.locator("[data-check=end_of_part] button").first.click()
    phone.wait_for_function("() => document.querySelector('[data-check=end_of_part] .did').textContent.includes(' to 1 for ')")
    assert phone.locator("#call").inner_text() != "cannot tell"
    assert phone.locator("[data-check=end_of_part] button[aria-pressed=true]").count() == 1
    phone.context.set_offline(False)
    gone_out(phone)
    assert list(said(phone, piece)["answers"]["parts"]["top"]["answers"]) == ["end_of_part"]


def test_spot_tests_go_on_without_a_signal(phone):  # noqa: F811
    begin(phone)
    piece = kept_here(phone)
    phone.context.set_offline(True)
    phone.goto(f"/p/{piece}/finish")
    phone.locator("#finish button.big").first.click()
    phone.locator("#finish .call").wait_for()


def test_the_document_of_the_chest_is_what_the_routine_starts_from(tmp_path):
    from service.aisle.routine import Routine
    from service.hand.state import Answers
    from service.web.views.routine import standing

    doc = chest_document(tmp_path)
    found = standing(Routine(doc), Answers(), f"{told.GATE}/mould")
    assert [p["id"] for p in found["parts"]][: len(found["asked"])] == found["asked"] and found["last"] == "gate/mould"
    assert {p["id"] for p in found["parts"]} >= {p.id for p in doc.parts}
    assert all(abs(sum(p["start"]) - 1) < 1e-9 for p in found["parts"])


def test_ticks_wait_and_stay_ticked(phone, tmp_path):  # noqa: F811
    begin(phone)
    piece = kept_here(phone)
    put = {"answers": [{"key": "top/known", "answer": "printed/particle_board"}]}
    token = {"X-Bench-Token": phone.evaluate("bench.token()")}
    assert phone.request.put(f"/api/v1/pieces/{piece}/answers", data=put, headers=token).ok
    asked = {"request": {"parts": {"top": {"goal": "paint", "size": "1200x500mm"}}}}
    assert phone.request.put(f"/api/v1/pieces/{piece}/plan", data=asked, headers=token).ok
    phone.goto(f"/p/{piece}/plan")
    phone.context.set_offline(True)
    boxes = phone.locator("#ticks input[type=checkbox]")
    for n in (0, 2):
        boxes.nth(n).check()
    wait_until(phone, "async () => (await waiting.all()).length === 1")
    assert phone.locator("#done").inner_text().startswith("2 of ")
    phone.reload()
    wait_until(phone, "async () => document.querySelectorAll('#ticks input:checked').length === 2")
    phone.context.set_offline(False)
    gone_out(phone)
    phone.reload()
    assert boxes.nth(0).is_checked() and boxes.nth(2).is_checked() and not boxes.nth(1).is_checked()
