"""Photos coming in: bounded before decoding, told by content, stripped of everything but pixels, few at a time."""

from __future__ import annotations

import asyncio
import io
import struct
import zlib

import httpx
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from service.store import StoreLimits
from service.web.app import create_app
from service.web.settings import WebSettings
from tests.service.store.store_made import photo_bytes
from vision.intake.limits import Limits


def send(client, piece: str, data: bytes, name: str = "photo.jpg", kind: str = "image/jpeg"):
    return client.post(piece + "/photos", files={"photo": (name, data, kind)})


def png_header(width: int, height: int) -> bytes:
    """A PNG that says it is so large and holds next to nothing (W3C PNG, 11.2.1)."""
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(100))) + chunk(b"IEND", b"")


def test_a_phone_photo_in_heif_is_kept_as_jpeg(client, piece):
    drawn = Image.open(io.BytesIO(photo_bytes(3, "PNG")))
    out = io.BytesIO()
    pillow_heif.from_pillow(drawn).save(out, quality=95)
    answer = send(client, piece, out.getvalue(), "IMG_0001.HEIC", "image/heic")
    assert answer.status_code == 201 and (answer.json()["width"], answer.json()["height"]) == drawn.size
    back = client.get(answer.json()["picture"])
    assert back.headers["content-type"] == "image/jpeg" and back.content[:2] == b"\xff\xd8"
    seen = np.asarray(Image.open(io.BytesIO(back.content))).astype(int)
    assert np.abs(seen - np.asarray(drawn).astype(int)).mean() < 4


def test_place_camera_and_notes_are_gone_from_all_that_is_served(client, piece, store):
    exif = Image.Exif()
    exif[0x010F], exif[0x0112] = "SECRETCAMERA", 6
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)
    sent = photo_bytes(4, "JPEG", width=900, height=700, exif=exif.tobytes(), comment=b"SECRETNOTE")
    assert sent.count(b"SECRET") == 2
    photo = send(client, piece, sent, "SECRETplace.jpg").json()
    for address in (photo["picture"], photo["picture"] + "?longest=320"):
        data = client.get(address).content
        picture = Image.open(io.BytesIO(data))
        assert not picture.getexif() and b"SECRET" not in data and picture.width < picture.height, "upright, and bare"
    everything = b"".join(f.read_bytes() for f in store.folder.root.rglob("*") if f.is_file())
    assert b"SECRET" not in everything


def test_a_picture_that_claims_to_be_enormous_is_refused_undecoded(client, piece):
    answer = send(client, piece, png_header(60_000, 60_000), "bomb.png", "image/png")
    assert answer.status_code == 422 and "60000" in answer.json()["error"]["cause"]
    assert client.get(piece + "/photos").json() == {"photos": []}


NO_PHOTOS = [b"", b"no picture at all", b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"%PDF-1.7", b"\xff\xd8\xff"]


@pytest.mark.parametrize("data", NO_PHOTOS)
def test_what_is_no_photo_is_refused_whatever_it_calls_itself(client, piece, data):
    answer = send(client, piece, data)
    assert answer.status_code == 422 and set(answer.json()["error"]) == {"subject", "cause", "remedy"}
    assert client.get(piece).json()["photo_count"] == 0


def test_a_photo_is_one_whatever_it_calls_itself(client, piece):
    assert send(client, piece, photo_bytes(5, "PNG"), "notes.txt", "text/plain").status_code == 201


def test_names_lead_nowhere(client, piece, store):
    for name in ("../../../../tmp/out.jpg", "/etc/passwd", "a\0b.jpg", "con", "é" * 300):
        assert send(client, piece, photo_bytes(6), name).status_code == 201
    names = {f.name for f in store.folder.root.rglob("*")}
    assert not names & {"out.jpg", "passwd", "con"} and client.get(piece).json()["photo_count"] == 1


def test_too_many_bytes_are_refused_by_the_header_or_as_they_come(opened):
    client = opened(limits=StoreLimits(free_bytes=0, photo=Limits(max_bytes=100_000)))
    piece = "/api/v1/pieces/" + client.post("/api/v1/pieces", json={}).json()["id"]
    big = bytes(400_000)
    told = send(client, piece, big)
    assert told.status_code == 413 and told.json()["error"]["remedy"]

    def untold():
        yield b'--x\r\nContent-Disposition: form-data; name="photo"; filename="a"\r\n\r\n'
        yield from (bytes(50_000) for _ in range(8))

    kind = {"content-type": "multipart/form-data; boundary=x"}
    assert client.post(piece + "/photos", content=untold(), headers=kind).status_code == 413
    between = send(client, piece, bytes(120_000))
    assert between.status_code == 422, "within what a form may hold, but more than a photo may"
    assert client.post("/api/v1/pieces", content=bytes(2_000_000)).status_code == 413
    assert client.post("/api/v1/pieces", content=b"{}", headers={"content-length": "-5"}).status_code == 400


def test_one_photo_too_many_is_refused(opened):
    client = opened(limits=StoreLimits(free_bytes=0, photos_per_piece=2))
    piece = "/api/v1/pieces/" + client.post("/api/v1/pieces", json={}).json()["id"]
    assert [send(client, piece, photo_bytes(n)).status_code for n in range(3)] == [201, 201, 422]
    assert client.get(piece).json()["photo_count"] == 2


def test_the_same_photo_again_is_the_one_kept(client, piece):
    assert send(client, piece, photo_bytes(1)).json() == send(client, piece, photo_bytes(1)).json()


def test_forms_without_a_photo_or_for_no_piece(client, piece):
    assert client.post(piece + "/photos").status_code == 422
    assert client.post(piece + "/photos", data={"photo": "text"}).status_code == 422
    nowhere = "/api/v1/pieces/" + "A" * 22
    assert send(client, nowhere, photo_bytes(1)).status_code == 404
    broken = client.post(piece + "/photos", content=b"--", headers={"content-type": "multipart/form-data"})
    assert broken.status_code in (400, 422) and broken.json()["error"]["remedy"]


def test_smaller_copies_and_scale(client, piece):
    photo = send(client, piece, photo_bytes(2, width=900, height=400)).json()
    small = Image.open(io.BytesIO(client.get(photo["picture"] + "?longest=300").content))
    assert small.size == (320, 142) and client.get(photo["picture"] + "?longest=63").status_code == 422
    at = f"{piece}/photos/{photo['id']}"
    assert client.put(at + "/scale", json={"mm_per_px": 0.5}).json()["mm_per_px"] == 0.5
    assert client.put(at + "/scale", json={"mm_per_px": -1}).status_code == 422
    other = "/api/v1/pieces/" + client.post("/api/v1/pieces", json={}).json()["id"]
    assert client.get(f"{other}/photos/{photo['id']}/picture").status_code == 404, "a photo is shown with its own piece only"
    assert client.get(photo["evidence"]).status_code == 404
    assert client.delete(at).status_code == 204 and client.get(at).status_code == 404


def test_many_at_once_are_all_kept_and_pages_answer_between_them(store):
    app = create_app(store, None, WebSettings(uploads_at_once=1))

    async def all_at_once() -> list[int]:
        transport = httpx.ASGITransport(app)
        here = "http://127.0.0.1"
        async with app.router.lifespan_context(app), httpx.AsyncClient(transport=transport, base_url=here) as client:
            piece = "/api/v1/pieces/" + (await client.post("/api/v1/pieces", json={})).json()["id"]
            waiting = [client.post(piece + "/photos", files={"photo": photo_bytes(n)}) for n in range(20)]
            asked = [client.get(piece) for _ in range(5)]
            return [r.status_code for r in await asyncio.gather(*waiting, *asked)]

    assert asyncio.run(all_at_once()) == [201] * 20 + [200] * 5
    assert len(store.photos.of_piece(store.pieces.find()[0].id)) == 20
