"""What kind of file the bytes are, and opening it without decoding a pixel.

The content decides, never the file name. The decoders are called directly, not through the image library's general
opener: that one would also try exotic formats, and its own size guard is process-wide state.
"""

from __future__ import annotations

import io

from PIL import Image

READABLE = ("JPEG", "PNG", "WebP", "TIFF", "HEIF")

_HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"mif2", b"msf1"})
_AVIF_BRANDS = frozenset({b"avif", b"avis"})
_BY_START = (
    (b"\xff\xd8\xff", "JPEG"), (b"\x89PNG\r\n\x1a\n", "PNG"), (b"II*\x00", "TIFF"), (b"MM\x00*", "TIFF"),
    (b"II+\x00", "TIFF"), (b"MM\x00+", "TIFF"), (b"GIF87a", "GIF"), (b"GIF89a", "GIF"), (b"BM", "BMP"),
    (b"%PDF-", "PDF"), (b"8BPS", "layered picture"), (b"\xff\x0a", "JPEG XL"), (b"\x00\x00\x00\x0cJXL ", "JPEG XL"),
    (b"\x00\x00\x00\x0cjP  ", "JPEG 2000"),
)  # fmt: skip


def kind_of(data: bytes) -> str | None:
    """Name of the format the bytes begin like: one of READABLE, another picture format's name, or None."""
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WebP"
    if data[4:8] == b"ftyp":
        return _media_kind(data)
    return next((kind for start, kind in _BY_START if data.startswith(start)), None)


def _media_kind(data: bytes) -> str:
    length = min(int.from_bytes(data[:4], "big"), 256)
    brands = {data[8:12], *(data[i : i + 4] for i in range(16, length - 3, 4))}
    if brands & _AVIF_BRANDS:
        return "AVIF"
    return "HEIF" if brands & _HEIF_BRANDS else "video"


def open_header(data: bytes, kind: str) -> Image.Image:
    """PIL image of a JPEG, PNG, WebP or TIFF whose header was read and whose pixels were not.

    Raises whatever the decoder raises on a broken header.
    """
    stream = io.BytesIO(data)
    if kind == "JPEG":
        from PIL.JpegImagePlugin import JpegImageFile

        return JpegImageFile(stream)
    if kind == "PNG":
        from PIL.PngImagePlugin import PngImageFile

        return PngImageFile(stream)
    if kind == "WebP":
        from PIL.WebPImagePlugin import WebPImageFile

        return WebPImageFile(stream)
    if kind == "TIFF":
        from PIL.TiffImagePlugin import TiffImageFile

        return TiffImageFile(stream)
    raise ValueError(f"no header reader for {kind}")


def webp_header(data: bytes) -> tuple[int, int, bool]:
    """(width, height, animated) of a WebP file, from its first chunk (RFC 9649).

    Read by hand because the library's opener already sets up canvases of the full size.
    """
    chunk = data[12:16]
    if len(data) < 30:
        raise ValueError("the header is cut short")
    if chunk == b"VP8X":
        width, height = (1 + int.from_bytes(data[i : i + 3], "little") for i in (24, 27))
        return width, height, bool(data[20] & 0x02)
    if chunk == b"VP8L":
        bits = int.from_bytes(data[21:25], "little")
        return (bits & 0x3FFF) + 1, ((bits >> 14) & 0x3FFF) + 1, False
    if chunk == b"VP8 ":
        return int.from_bytes(data[26:28], "little") & 0x3FFF, int.from_bytes(data[28:30], "little") & 0x3FFF, False
    raise ValueError("no picture chunk")


def further_pages(image: Image.Image) -> int:
    """Pages of a TIFF beyond the first that are pictures of their own; reduced-size copies of the first do not count."""
    pages, reduced_copy, new_subfile_type = 0, 1, 254
    for number in range(1, 32):
        try:
            image.seek(number)
        except EOFError:
            break
        kind = getattr(image, "tag_v2", {}).get(new_subfile_type, 0)
        pages += 0 if isinstance(kind, int) and kind & reduced_copy else 1
    image.seek(0)
    return pages
