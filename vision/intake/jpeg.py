"""JPEG structure: is the file whole, and how hard was it compressed."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

#: Luminance quantisation table of ITU-T T.81, Annex K, Table K.1, row by row.
LUMINANCE_TABLE: NDArray[np.int64] = np.array([
    16, 11, 10, 16, 24, 40, 51, 61,
    12, 12, 14, 19, 26, 58, 60, 55,
    14, 13, 16, 24, 40, 57, 69, 56,
    14, 17, 22, 29, 51, 87, 80, 62,
    18, 22, 37, 56, 68, 109, 103, 77,
    24, 35, 55, 64, 81, 104, 113, 92,
    49, 64, 78, 87, 103, 121, 120, 101,
    72, 92, 95, 98, 112, 100, 103, 99,
])  # fmt: skip

#: Far above what cameras write (about ten), low enough that a hostile file cannot ask for hours of decoding.
MAX_SCANS = 64

_END, _SCAN = 0xD9, 0xDA
#: Inside entropy-coded data 0xFF is followed by 00 (stuffing), D0..D7 (restart) or FF (fill); anything else is a marker.
_NEXT_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")


def end_of_picture(data: bytes) -> tuple[int, int]:
    """(offset just behind the end-of-image marker, number of scans); offset -1 when the stream stops before it.

    Walks the segments by their lengths, so end markers inside an EXIF thumbnail are not taken for the picture's own.
    Bytes behind the end are nobody's business here: phones append gain maps and clips.
    """
    at, scans, size = 2, 0, len(data)
    while at + 2 <= size:
        if data[at] != 0xFF:
            found = _NEXT_MARKER.search(data, at)  # lenient: some writers leave stray bytes between segments
            if found is None:
                return -1, scans
            at = found.start()
        marker = data[at + 1]
        if marker == _END:
            return at + 2, scans
        if marker == 0xFF or marker == 0x01 or 0xD0 <= marker <= 0xD8:
            at += 1 if marker == 0xFF else 2
            continue
        if at + 4 > size:
            break
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if marker == _SCAN:
            scans += 1
            found = _NEXT_MARKER.search(data, at)
            if found is None:
                break
            at = found.start()
    return -1, scans


def scaled_table(quality: int) -> NDArray[np.int64]:
    """(64,) luminance table the Independent JPEG Group's encoder writes at `quality` 1..100 (its jpeg_quality_scaling)."""
    if not 1 <= quality <= 100:
        raise ValueError(f"quality {quality} is not within 1..100")
    percent = 5000 // quality if quality < 50 else 200 - 2 * quality
    return np.clip((LUMINANCE_TABLE * percent + 50) // 100, 1, 255)


_ALL_TABLES = np.stack([scaled_table(q) for q in range(1, 101)]).astype(float)


def estimate_quality(tables: Mapping[int, Sequence[int]]) -> int | None:
    """Quality 1..100 of the nearest standard table; None when the file carries no 8x8 table.

    `tables`: table number -> 64 divisors in row order; number 0 is luminance by convention. Encoders with tables of
    their own are matched by the logarithm of the divisors, so the answer says how coarse they are, not which encoder.
    """
    table = tables.get(0) or next(iter(tables.values()), None)
    if table is None or len(table) != 64:
        return None
    own = np.maximum(np.asarray(table, dtype=float), 1.0)
    distance = np.abs(np.log(_ALL_TABLES) - np.log(own)).sum(axis=1)
    return 100 - int(np.argmin(distance[::-1]))  # equal tables (very low qualities): the kinder number
