"""The marker sheet as a PDF of one page: vectors and a standard font, written by hand (ISO 32000-1), nothing embedded."""

from __future__ import annotations

from typing import Final

import numpy as np

from vision.scale.sheet import BOARD_MM, CHECK_BAR_MM, COLUMNS, MARKER_MM, ROWS, marker_bits, marker_corners

#: Paper sizes in mm (ISO 216; ANSI/ASME Y14.1).
PAPERS: Final = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
POINT_MM = 25.4 / 72
TITLE = "Measuring sheet for furniture photos"
STEPS = (
    "1. Print at 100 % (\"actual size\"), not \"fit to page\".",
    "2. Measure the bar above with a ruler. It must be 100 mm long. If it measures 98.5 mm, say so: --scale sheet:98.5",
    "3. Lay the sheet flat on the surface you want to measure, or hold it flat against it.",
    "4. Photograph surface and sheet together. Part of the sheet may be covered; two whole squares are enough.",
)
FOOT = "Millimetres hold on the surface the sheet lies on, not in front of it or behind it."


def sheet_pdf(paper: str = "a4") -> bytes:
    """The sheet for 'a4' or 'letter' paper as the bytes of a PDF file. Raises ValueError for other papers."""
    if paper not in PAPERS:
        raise ValueError(f"no paper is called {paper!r}; there are {', '.join(PAPERS)}")
    width, height = PAPERS[paper]
    left, top = (width - BOARD_MM[0]) / 2, 27.0
    draw: list[str] = ["0 g"]

    def box(x: float, y: float, w: float, h: float) -> None:
        draw.append(f"{_pt(x)} {_pt(height - y - h)} {_pt(w)} {_pt(h)} re f")

    def text(x: float, y: float, size: float, words: str, font: str = "F1") -> None:
        safe = words.replace("\\", r"\\").replace("(", r"\(").replace(")", r"\)")
        draw.append(f"BT /{font} {size:g} Tf {_pt(x)} {_pt(height - y)} Td ({safe}) Tj ET")

    text(left, 15, 15, TITLE, "F2")
    text(left, 21, 8.5, f"{ROWS * COLUMNS} squares of {MARKER_MM:g} mm. {FOOT}")
    for marker in range(COLUMNS * ROWS):
        x, y = marker_corners(marker)[0] + [left, top]
        module = MARKER_MM / 7
        # black square first, then its white modules in runs, so that no hairline shows between black ones
        box(x, y, MARKER_MM, MARKER_MM)
        draw.append("1 g")
        for row, bits in enumerate(marker_bits(marker)):
            for start, stop in _runs(~bits):
                box(x + start * module, y + row * module, (stop - start) * module, module)
        draw.append("0 g")
    bar = top + BOARD_MM[1] + 9
    box(left, bar, CHECK_BAR_MM, 0.6)
    for k in range(11):
        long = 5.0 if k % 5 == 0 else 3.0
        # each tick's outer face stands at the end of the bar, so that the bar measures 100 mm over all
        x = min(left + 10 * k, left + CHECK_BAR_MM - 0.3) if k else left
        box(x, bar - long + 0.6, 0.3, long)
    text(left + CHECK_BAR_MM + 4, bar + 0.6, 9, f"{CHECK_BAR_MM:g} mm from end to end", "F2")
    for n, line in enumerate(STEPS):
        text(left, bar + 8 + 5 * n, 9, line)
    return _file("\n".join(draw), width, height)


def _pt(mm: float) -> str:
    return f"{mm / POINT_MM:.4f}"


def _runs(row: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.r_[0, row.astype(int), 0]))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _file(content: str, width: float, height: float) -> bytes:
    """A PDF 1.4 file with one page of the given content stream."""
    stream = content.encode("ascii")
    font = "<< /Type /Font /Subtype /Type1 /BaseFont /{} /Encoding /WinAnsiEncoding >>"
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R /ViewerPreferences << /PrintScaling /None >> >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        (f"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {_pt(width)} {_pt(height)}] /Contents 4 0 R "
         "/Resources << /Font << /F1 5 0 R /F2 6 0 R >> >> >>").encode(),
        b"<< /Length %d >>\nstream\n%s\nendstream" % (len(stream), stream),
        font.format("Helvetica").encode(),
        font.format("Helvetica-Bold").encode(),
        f"<< /Title ({TITLE}) >>".encode(),
    ]
    out = bytearray(b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n")
    places = []
    for n, body in enumerate(objects, 1):
        places.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (n, body)
    table = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    out += b"".join(b"%010d 00000 n \n" % p for p in places)
    out += b"trailer\n<< /Size %d /Root 1 0 R /Info 7 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (len(objects) + 1, table)
    return bytes(out)
