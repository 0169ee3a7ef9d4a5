"""Photo files made in code for the intake tests: nothing here is a stored photograph."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np
from PIL import Image

EXIF_ORIENTATION = 0x0112


def marked_picture(height: int = 96, width: int = 144) -> np.ndarray:
    """(height, width, 3) uint8 smooth picture, different in all four corners, so that every turn shows."""
    y, x = np.mgrid[0:height, 0:width]
    red = 40 + 170 * x / width
    green = 40 + 170 * y / height
    blue = np.where((x < width / 2) & (y < height / 2), 200, 60)
    return np.stack([red, green, blue], axis=-1).round().astype(np.uint8)


def encoded(picture: np.ndarray | Image.Image, fmt: str, **options) -> bytes:
    """Bytes of the picture in a PIL format."""
    image = picture if isinstance(picture, Image.Image) else Image.fromarray(picture)
    out = io.BytesIO()
    image.save(out, fmt, **options)
    return out.getvalue()


def exif_with(orientation: int | None = None, **more) -> bytes:
    """EXIF block with an orientation; `make=` adds a camera name, `latitude=` a position."""
    exif = Image.Exif()
    if orientation is not None:
        exif[EXIF_ORIENTATION] = orientation
    if "make" in more:
        exif[0x010F] = more["make"]
    if "latitude" in more:
        exif.get_ifd(0x8825)[1] = "N"
        exif.get_ifd(0x8825)[2] = (more["latitude"], 0.0, 0.0)
    return exif.tobytes()


def written(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def png_chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png_file(width: int, height: int, depth: int, colour: int, rows: bytes, extra: bytes = b"") -> bytes:
    """PNG written chunk by chunk (RFC 2083), for depths and sizes the image library would not write."""
    header = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    chunks = (png_chunk(b"IHDR", header), extra, png_chunk(b"IDAT", zlib.compress(rows, 1)), png_chunk(b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


# --- ICC profiles -------------------------------------------------------------------------------------------------

SRGB_PRIMARIES = ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060))
WIDE_PRIMARIES = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))  # SMPTE EG 432-1, as phone screens use
_D65_XY = (0.3127, 0.3290)
_D50 = np.array([0.9642, 1.0, 0.8249])
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def primaries_to_xyz(primaries) -> np.ndarray:
    """3x3 matrix from linear RGB to XYZ under D50 (Bradford adaptation from D65)."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries]).T
    white = np.array([_D65_XY[0] / _D65_XY[1], 1.0, (1 - sum(_D65_XY)) / _D65_XY[1]])
    matrix = columns * np.linalg.solve(columns, white)
    cone = np.diag((_BRADFORD @ _D50) / (_BRADFORD @ white))
    return np.linalg.inv(_BRADFORD) @ cone @ _BRADFORD @ matrix


def matrix_profile(primaries) -> bytes:
    """Display ICC profile (version 2.4) with the given primaries and the sRGB tone curve (ICC.1:2001-04)."""

    def fixed(value: float) -> bytes:
        return struct.pack(">i", round(value * 65536))

    levels = np.arange(1024) / 1023
    curve = np.where(levels <= 0.04045, levels / 12.92, ((levels + 0.055) / 1.055) ** 2.4)
    trc = b"curv\0\0\0\0" + struct.pack(">I", 1024) + (curve * 65535).round().astype(">u2").tobytes()
    text = b"made in a test\0"
    desc = b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + b"\0" * (12 + 67)
    matrix = primaries_to_xyz(primaries)
    tags = {b"desc": desc, b"cprt": b"text\0\0\0\0" + text, b"wtpt": b"XYZ \0\0\0\0" + b"".join(map(fixed, _D50))}
    for k, name in enumerate((b"rXYZ", b"gXYZ", b"bXYZ")):
        tags[name] = b"XYZ \0\0\0\0" + b"".join(fixed(v) for v in matrix[:, k])
    for name in (b"rTRC", b"gTRC", b"bTRC"):
        tags[name] = trc
    table, body, at = b"", b"", 128 + 4 + 12 * len(tags)
    for name, data in tags.items():
        data += b"\0" * (-len(data) % 4)
        table += name + struct.pack(">II", at + len(body), len(data))
        body += data
    size = at + len(body)
    head = struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    head += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp") + b"\0" * 28 + b"".join(map(fixed, _D50))
    return head.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body
