"""How much may be kept: bounds checked before anything is decoded or written."""

from __future__ import annotations

from dataclasses import dataclass, field

from vision.intake.limits import Limits


@dataclass(frozen=True)
class StoreLimits:
    """Bounds of the store.

    `photo`: bytes, pixels and shortest side of one photo. `photos_per_piece`: photos of one piece. `title_chars`,
    `notes_chars`: lengths of texts. `json_bytes`: one answer, correction, request or setting. `document_bytes`: one
    assessment, plan or derived file. `free_bytes`: room that must stay free on the disk after a photo, so that answers and
    results can still be written. `at_once`: photos decoded at the same time, which bounds memory.
    """

    photo: Limits = field(default_factory=lambda: Limits(max_bytes=40 * 1024 * 1024))
    photos_per_piece: int = 30
    title_chars: int = 200
    notes_chars: int = 20_000
    json_bytes: int = 256 * 1024
    document_bytes: int = 32 * 1024 * 1024
    free_bytes: int = 100 * 1024 * 1024
    at_once: int = 2

    def __post_init__(self) -> None:
        sizes = (self.photos_per_piece, self.title_chars, self.notes_chars, self.json_bytes, self.document_bytes, self.at_once)
        if min(sizes) < 1 or self.free_bytes < 0:
            raise ValueError(f"limits must be positive, got {self}")
