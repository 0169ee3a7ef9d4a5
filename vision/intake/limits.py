"""What a photo file may weigh and measure before it is opened."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Limits:
    """Bounds checked before a photo is decoded.

    `max_bytes`: size of the file on disk. `max_pixels`: width x height after decoding, read from the header; the default
    lets 108-megapixel phone cameras through (324 MB as RGB). `min_side`: shortest side, in pixels, worth measuring.
    """

    max_bytes: int = 100 * 1024 * 1024
    max_pixels: int = 110_000_000
    min_side: int = 48

    def __post_init__(self) -> None:
        if min(self.max_bytes, self.max_pixels, self.min_side) < 1:
            raise ValueError(f"limits must be positive, got {self}")
