"""The document: keys and their order, sums, references, round trip."""

import itertools
import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from service.contract import DECIMALS, TOLERANCE, Document, Refused, document, rounded, to_json
from service.look import Request, look
from tests.service.chest import ChestEngine, chest_photo

HEAD = ["schema", "program", "model", "prior", "photos", "parts", "findings", "next", "refused"]
JUDGED = ["face", "core", "core_visible", "substrate", "face_set", "core_set", "substrate_set", "level", "undecided", "reason",
          "cues", "findings"]


@pytest.fixture(scope="module")
def doc(tmp_path_factory):
    folder = tmp_path_factory.mktemp("photos")
    files = tuple(str(chest_photo(folder / f"chest{n}.jpg", n)) for n in range(2))
    outcome = look(Request(files), ChestEngine())
    return document(outcome.assessment, [Refused(file="x.jpg", cause="It is empty.", remedy="Take it again.")])


@pytest.fixture()
def raw(doc):
    return json.loads(to_json(doc))


def test_keys_and_their_order(raw):
    assert list(raw) == HEAD
    assert raw["schema"] == "1.3"
    assert list(raw["model"]) == ["id", "feature_schema", "calibration"]
    assert list(raw["model"]["calibration"]) == ["basis", "real_specimens"]
    assert list(raw["prior"]) == ["name", "face", "core", "text"]
    assert list(raw["photos"][0]) == ["id", "file", "sha256", "width", "height", "problems", "panels", "mm_per_px", "scale"]
    assert list(raw["photos"][0]["problems"][0]) == ["kind", "text"]
    assert list(raw["photos"][0]["panels"][0]) == ["id", "outline", "view", *JUDGED, "details"]
    lip = next(q for q in raw["photos"][0]["panels"] if q["id"] == "lip")
    assert list(lip["details"][0]) == ["group", "kind", "chance", "level", "outline", "text", "meaning", "numbers"]
    assert lip["details"][0]["numbers"] == {"thickness_px": 17.0}
    assert list(raw["parts"][0]) == ["id", "role", "sightings", *JUDGED]
    assert list(raw["parts"][0]["sightings"][0]) == ["photo", "panel"]
    assert list(raw["findings"][0]) == ["id", "kind", "where", "for", "against", "decibans", "text"]
    assert list(raw["findings"][0]["where"][0]) == ["photo", "panel", "type", "points"]
    assert list(raw["next"][0]) == ["kind", "part", "ask", "gain_bits", "text"]
    assert list(raw["refused"][0]) == ["file", "cause", "remedy"]
    assert list(raw["photos"][0]["panels"][0]["face"]) == [
        "solid_wood", "veneer", "printed", "opaque", "bare_board", "not_wood"]
    assert list(raw["photos"][0]["panels"][0]["core"]) == ["lumber", "plywood", "particle_board", "fibreboard"]


def test_every_distribution_sums_to_one(raw):
    judged = [q for p in raw["photos"] for q in p["panels"]] + raw["parts"]
    assert len(judged) > 10
    for j in judged:
        for kind in ("face", "core", "substrate"):
            assert abs(math.fsum(j[kind].values()) - 1) <= TOLERANCE
    assert abs(math.fsum(raw["prior"]["face"].values()) - 1) <= TOLERANCE


def test_round_trip(doc, raw):
    again = Document.model_validate(raw)
    assert again == doc
    assert to_json(again) == to_json(doc)


def test_same_photos_same_bytes(tmp_path):
    file = str(chest_photo(tmp_path / "a.jpg"))
    texts = {to_json(document(look(Request((file,)), ChestEngine()).assessment)) for _ in range(2)}
    assert len(texts) == 1


def test_the_document_is_one_ascii_line(doc):
    text = to_json(doc)
    assert text.isascii() and "\n" not in text


@pytest.mark.parametrize("spoil", [
    lambda r: r["photos"][0]["panels"][0]["face"].update(veneer=0.9),
    lambda r: r["photos"][0]["panels"][0].update(view="front"),
    lambda r: r["photos"][0]["panels"][0]["findings"].append("f99"),
    lambda r: r["photos"][0]["panels"][1].update(id=r["photos"][0]["panels"][0]["id"]),
    lambda r: r["parts"][0]["sightings"].append({"photo": "p9", "panel": "top"}),
    lambda r: r["next"][0].update(part="attic"),
    lambda r: r["findings"][0].update({"for": "oak"}),
    lambda r: r.update(schema="2.0"),
    lambda r: r["photos"][0].pop("panels"),
    lambda r: r["model"]["calibration"].update(basis="guessed"),
])
def test_what_is_wrong_is_refused(raw, spoil):
    spoil(raw)
    with pytest.raises(ValidationError):
        Document.model_validate(raw)


def test_readers_ignore_keys_they_do_not_know(raw, doc):
    raw["later"] = 1
    raw["parts"][0]["later"] = {}
    assert Document.model_validate(raw) == doc


@given(st.dictionaries(st.text(max_size=3), st.floats(1e-12, 1), min_size=1, max_size=20))
@settings(deadline=None)
def test_rounding_keeps_the_sum_and_the_order(values):
    total = math.fsum(values.values())
    out = rounded(values)
    unit = 10**-DECIMALS
    assert abs(math.fsum(out.values()) - 1) < 1e-9
    assert all(abs(out[k] - values[k] / total) <= unit * 1.001 and 0 <= out[k] <= 1 for k in values)
    ranked = sorted(values, key=values.__getitem__)
    assert all(out[a] <= out[b] + unit * 1.001 for a, b in itertools.pairwise(ranked))


def test_a_name_that_is_no_text_travels_as_one(tmp_path):
    refused = [Refused(file="bad-name.jpg", cause="c", remedy="r")]
    assert document(look(Request(()), ChestEngine()).assessment, refused).refused[0].file == "bad-name.jpg"
    from service.contract import plain

    assert plain("a\udcffb.jpg") == "a�b.jpg"
    assert plain("naïve – ñ.jpg") == "naïve – ñ.jpg"
