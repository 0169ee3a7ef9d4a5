"""What the result page is built from: nothing beyond the document, and everything that it must show."""

import re
from html.parser import HTMLParser

import pytest
from fastapi.testclient import TestClient

from service.contract import to_json
from service.store import Store
from service.web.app import create_app
from service.web.views.result import LAYERS, Picture, layer_of, result_view
from tests.service.chest import chest_document, chest_photo
from vision import registry


def test_every_kind_of_finding_has_a_switch():
    assert all(layer_of(kind) in LAYERS for kind in registry.FINDING_KINDS)
    listed = [k for _, kinds in LAYERS.values() for k in kinds]
    assert sorted(listed) == sorted(registry.FINDING_KINDS)


def test_the_view_holds_what_the_document_holds(tmp_path):
    doc = chest_document(tmp_path)
    view = result_view(doc, [Picture("a", doc.photos[0].id, "/x.jpg", 10, 10)])
    assert {p["id"] for p in view["named"]} | {p["id"] for p in view["others"]} == {p.id for p in doc.parts}
    open_parts = {p.id for p in doc.parts if p.undecided}
    assert {p["id"] for p in view["parts"] if p["open"]} == open_parts
    assert all("cannot tell" in p["call"] for p in view["parts"] if p["open"])
    marks = [m["finding"] for ph in view["photos"] for m in ph["marks"]]
    assert set(marks) <= {f.id for f in doc.findings} and marks
    assert view["cautions"] and view["basis"]


class Checked(HTMLParser):
    """Counts what the policy forbids and what people need."""

    def __init__(self):
        super().__init__()
        self.wrong, self.forms, self.tokens = [], 0, 0

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if "style" in given or any(k.startswith("on") for k in given) or (tag == "script" and "src" not in given):
            self.wrong.append((tag, given))
        if tag == "img" and "alt" not in given:
            self.wrong.append((tag, given))
        self.forms += tag == "form" and given.get("method") == "post"
        self.tokens += tag == "input" and given.get("name") == "csrf"


@pytest.fixture
def served(tmp_path):
    with Store(tmp_path / "store") as store:
        piece = store.pieces.create("Chest <script>", "asked & paid")
        store.photos.add(piece.id, chest_photo(tmp_path / "chest.jpg").read_bytes())
        doc = chest_document(tmp_path)
        photos = [p.model_copy(update={"id": "p1"}) for p in doc.photos[:1]]
        assert photos
        text = re.sub(rf'"{doc.photos[0].id}"', '"p1"', to_json(doc))
        store.papers.add(piece.id, "assessment", text)
        with TestClient(create_app(store), base_url="http://127.0.0.1:8765") as client:
            yield client, piece.id


def test_pages_hold_to_the_policy_and_escape(served):
    client, piece = served
    for url in ("/", "/pieces/new", "/help", "/compare", f"/compare?a={piece}&b={piece}", f"/p/{piece}", f"/p/{piece}/delete"):
        answer = client.get(url)
        assert answer.status_code == 200, url
        found = Checked()
        found.feed(answer.text)
        assert not found.wrong, (url, found.wrong[:2])
        assert found.tokens >= found.forms, url
        assert "Chest <script>" not in answer.text
    text = client.get(f"/p/{piece}").text
    assert "Chest &lt;script&gt;" in text and 'class="panel' in text and "Before you start work" in text


def test_a_piece_is_begun_and_deleted_through_plain_forms(served):
    client, piece = served
    page = client.get("/pieces/new").text
    token = re.search(r'name="csrf" value="([^"]+)"', page).group(1)
    made = client.post("/pieces/new", data={"csrf": token, "title": "Table"}, follow_redirects=False)
    assert made.status_code == 303
    assert client.get(made.headers["location"]).status_code == 200
    gone = client.post(f"/p/{piece}/delete", data={"csrf": token}, follow_redirects=False)
    assert gone.status_code == 303 and client.get(f"/p/{piece}").status_code == 404


def test_without_the_token_nothing_changes(served):
    client, piece = served
    refused = client.post(f"/p/{piece}/delete", headers={"origin": "http://127.0.0.1:8765"})
    assert refused.status_code == 403 and client.get(f"/p/{piece}").status_code == 200


def test_what_is_known_stands_with_the_part(served):
    client, piece = served
    page = client.get(f"/p/{piece}").text
    part = re.search(r'<form class="known" data-part="([^"]+)"', page).group(1)
    assert "Known, as you said" not in page
    token = re.search(r'name="bench-token" content="([^"]+)"', page).group(1)
    kept = client.put(f"/api/v1/pieces/{piece}/answers", headers={"X-Bench-Token": token},
                      json={"answers": [{"key": f"{part}/known", "answer": "printed/particle_board"}]})  # fmt: skip
    assert kept.status_code == 200, kept.text
    page = client.get(f"/p/{piece}").text
    assert "Known, as you said:</b> printed surface on particle board." in page
    assert page.count('<option value="printed" selected>') == 1
