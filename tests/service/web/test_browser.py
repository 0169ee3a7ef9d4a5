"""Whole flows in a real browser (Debian's Chromium): a phone in an aisle, a wrong file, a corrected outline."""

import shutil
import socket
import threading
import time

import pytest
import uvicorn

from service.store import Store
from service.web.app import create_app
from service.web.settings import WebSettings
from tests.service.chest import ChestEngine, chest_photo

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed")
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as tools:
        found = tools.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield found
        found.close()


@pytest.fixture
def address(tmp_path):
    """A service with the made-up chest's engine, on a port of its own."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with Store(tmp_path / "store") as store:
        app = create_app(store, ChestEngine(), WebSettings(port=port))
        server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="warning"))
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        while not server.started:
            assert thread.is_alive()
            time.sleep(0.02)
        yield f"http://127.0.0.1:{port}"
        server.should_exit = True
        thread.join()


@pytest.fixture
def phone(browser, address):
    """A page of a phone; whatever its console complains of fails the test."""
    context = browser.new_context(base_url=address, **PHONE)
    context.set_default_timeout(20_000)
    page = context.new_page()
    complaints = []
    page.on("pageerror", lambda e: complaints.append(str(e)))
    page.on("console", lambda m: complaints.append(m.text) if m.type == "error" and "Content Security" in m.text else None)
    yield page
    context.close()
    assert not complaints


#: Scripts of the page have run: what is tapped or typed before is lost.
READY = "html[data-ready]"


def begin(page):
    page.goto("/pieces/new")
    page.locator(READY).wait_for()
    page.get_by_label("What you call it").fill("Chest in the aisle")
    page.get_by_role("button", name="Keep without photos").click()
    page.wait_for_url("**/p/*")
    page.locator(f"{READY} #drop").wait_for()


def look(page, tmp_path, name="chest.jpg"):
    page.locator("#take").set_input_files(str(chest_photo(tmp_path / name)))
    page.locator(f"{READY} ul.files img[alt='Photo 1']").wait_for()
    page.get_by_role("button", name="Look").click()
    page.locator(f"{READY} details.part").first.wait_for()


def test_from_an_empty_list_to_a_verdict_with_its_evidence(phone, tmp_path):
    phone.goto("/")
    assert phone.get_by_role("heading", name="Begin with three photos").is_visible()
    begin(phone)
    look(phone, tmp_path)
    risks = phone.get_by_role("heading", name="What could cost you").bounding_box()["y"]
    assert risks < phone.get_by_role("heading", name="Part by part").bounding_box()["y"]
    panel = phone.locator("figure .panel:not(.under)").first
    panel.click(force=True)
    assert phone.locator(".panel.chosen").count() >= 1
    part = phone.locator("details.part:has(.finding)").first
    part.evaluate("d => { d.open = true; d.querySelectorAll('details').forEach(e => { e.open = true; }); }")
    part.locator(".finding").first.click()
    assert phone.locator("g.held").count() >= 1
    wide = phone.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 1, "nothing scrolls sideways on a phone"


def test_a_file_that_is_no_photo_is_said_to_be_none_and_the_others_are_kept(phone, tmp_path):
    begin(phone)
    wrong = tmp_path / "list.jpg"
    wrong.write_text("this is a shopping list")
    phone.locator("#choose").set_input_files([str(wrong), str(chest_photo(tmp_path / "chest.jpg"))])
    phone.locator("#coming .wrong").wait_for()
    assert "list.jpg" in phone.locator("#coming .wrong").inner_text()
    phone.locator("#go-on").click()
    phone.locator("ul.files img[alt='Photo 1']").wait_for()
    assert phone.locator("ul.files img[alt='Photo 2']").count() == 0


def test_a_corrected_outline_is_looked_at_again(phone, tmp_path):
    begin(phone)
    look(phone, tmp_path)
    phone.get_by_role("button", name="Correct outlines").first.click()
    phone.locator("figure .panel:not(.under)").first.click(force=True)
    assert phone.locator(".corner").count() >= 3
    phone.get_by_text("no panel", exact=True).click()
    before = phone.locator("figure .panel:not(.under)").count()
    phone.locator("figure .panel:not(.under)").first.click(force=True)
    with phone.expect_navigation():
        phone.get_by_role("button", name="Keep and look again").click()
    phone.wait_for_function("() => !document.getElementById('progress')")
    assert before >= 2
    found = phone.request.get(phone.url.replace("/p/", "/api/v1/pieces/") + "/corrections").json()
    assert found["corrections"][0]["did"] == "remove"


def test_what_is_known_outranks_the_photos_in_the_plan(phone, tmp_path):
    begin(phone)
    look(phone, tmp_path)
    part = phone.locator("details.part").first
    part.evaluate("d => { d.open = true; d.querySelectorAll('details').forEach(e => { e.open = true; }); }")
    part.locator("select[name=face]").select_option("printed")
    part.locator("form.known button").click()
    part.get_by_text("Kept: it outranks").wait_for()
    phone.get_by_role("link", name="Plan").click()
    assert phone.get_by_text("printed surface").first.is_visible()


def test_the_aisle_is_answered_with_one_thumb_and_taken_back(phone):
    begin(phone)
    phone.get_by_role("link", name="Beside it").click()
    first = phone.locator("h2#q").inner_text()
    phone.locator("button.big").first.click()
    phone.wait_for_function("t => document.querySelector('h2#q')?.innerText !== t", arg=first)
    phone.get_by_role("button", name="Take the last answer back").click()
    phone.wait_for_function("t => document.querySelector('h2#q')?.innerText === t", arg=first)
    heights = phone.evaluate("[...document.querySelectorAll('button.big')].map(b => b.getBoundingClientRect().height)")
    assert heights and min(heights) >= 44


def test_the_keyboard_reaches_panels_and_findings(browser, address, tmp_path):
    context = browser.new_context(base_url=address)
    page = context.new_page()
    begin(page)
    look(page, tmp_path)
    panel = page.locator("figure .panel:not(.under)").first
    panel.focus()
    page.keyboard.press("Enter")
    assert page.locator(".panel.chosen").count() >= 1
    context.close()


def test_no_page_breaks_the_rules_of_accessibility(browser, address, tmp_path):
    """WCAG 2.2 A and AA by axe-core, the reference checker, on every page of a piece that was looked at."""
    from axe_playwright_python.sync_playwright import Axe

    context = browser.new_context(base_url=address, bypass_csp=True, viewport=PHONE["viewport"])
    page = context.new_page()
    begin(page)
    look(page, tmp_path)
    piece = page.url.rsplit("/", 1)[1]
    part = page.locator("details.part").first.get_attribute("data-part")
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
    for url in ("/", "/pieces/new", "/help", f"/compare?a={piece}&b={piece}", f"/p/{piece}", f"/p/{piece}/aisle",
                f"/p/{piece}/plan", f"/p/{piece}/sell", f"/p/{piece}/finish", f"/p/{piece}/delete", f"/p/{piece}/deal",
                f"/p/{piece}/haul", f"/p/{piece}/ledger", f"/p/{piece}/check/{part}"):
        page.goto(url)
        found = Axe().run(page, options=rules).response
        assert len(found["passes"]) > 5, url
        assert not found["violations"], (url, [(v["id"], v["nodes"][0]["html"]) for v in found["violations"]])
    context.close()


def test_a_piece_is_begun_once_by_its_photos_with_its_name(phone, tmp_path):
    phone.goto("/pieces/new")
    phone.get_by_label("What you call it").fill("Chest <b>one</b>")
    wrong = tmp_path / "list.jpg"
    wrong.write_text("no picture")
    phone.locator("#choose").set_input_files([str(chest_photo(tmp_path / "chest.jpg")), str(wrong)])
    phone.locator("#go-on").click()
    phone.locator("ul.files img[alt='Photo 1']").wait_for()
    assert phone.locator("h1").inner_text() == "Chest <b>one</b>"
    phone.goto("/")
    assert phone.locator("a.piece").count() == 1
