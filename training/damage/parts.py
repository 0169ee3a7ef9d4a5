"""Three parts that share no photographer, no made-up tree and no seed: to teach, to fit by, to report on."""

from __future__ import annotations

import hashlib
from pathlib import Path

from training.composites.figures import load
from training.damage.bases import Bank

#: Part -> (salt of made-up wood, first seed of its panels).
PARTS = {"teach": (1, 0), "fit": (2, 500_000_000), "report": (3, 700_000_000)}


def fits(group: str) -> bool:
    """Whether a group of the tuning figures is kept from teaching to choose thresholds and probabilities by (about a third)."""
    return hashlib.sha256(f"damage {group}".encode()).digest()[0] < 85


def bank_of(part: str, photos: Path, textures: Path | None) -> Bank:
    """The bank of a part, with its real figures."""
    salt, _ = PARTS[part]
    figures = load(photos, textures, "report" if part == "report" else "tune")
    if part != "report":
        figures = [f for f in figures if fits(f.group) == (part == "fit")]
    return Bank(figures, salt)


def seed_of(part: str, number: int) -> int:
    """Seed of the panel with a number; numbers in one part never meet those of another."""
    return PARTS[part][1] + number
