"""The whole way once with the real engine: a sample photo in, a document with evidence out."""

from __future__ import annotations

import io
from pathlib import Path

from PIL import Image

from service.contract import Document
from service.engine import default_engine
from service.web.worker import Worker

SAMPLES = Path(__file__).resolve().parents[3] / "sample_images"


def test_a_sample_is_assessed_from_upload_to_evidence(client, piece, store):
    sample = sorted(SAMPLES.glob("*_1.jpg"))[0]
    photo = client.post(piece + "/photos", files={"photo": sample.read_bytes()}).json()
    job = client.post(piece + "/assessments", json={"details": False}).json()
    assert Worker(store, default_engine()).one() is not None
    done = client.get(f"/api/v1/jobs/{job['id']}").json()
    assert done["state"] == "done", done["cause"]
    doc = Document.model_validate_json(client.get(piece + "/assessment").text)
    assert doc.parts and doc.photos[0].panels and doc.photos[0].id == photo["key"]
    assert Image.open(io.BytesIO(client.get(photo["evidence"]).content)).width == 1200
