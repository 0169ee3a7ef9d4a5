"""How a further photo is read: P(what the classifier makes of it | substrate), learnt from photos by authors it never saw.

The table is made by `training.next_gain` and kept in models/next_gain.json. An outcome is which face (or core, on a narrow
side) the photo's evidence leads with, strongly or weakly; `hidden`: outcomes where a narrow side shows a band or paint.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from vision import registry
from vision.errors import ModelMismatch

FILE: Final = "models/next_gain.json"
FORMAT: Final = 1
#: Kinds of photo that were learnt: a long narrow side, an end, another photo of a face.
KINDS: Final = ("edge", "end", "face")
SUBSTRATES: Final = tuple(registry.SUBSTRATES)
Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Reading:
    """One kind of photo. `shown` (16, outcomes) P(outcome | substrate) over registry.SUBSTRATES, `hidden` (outcomes,);
    `specimens`: real ones it was counted on; `worth`: what a photo brought over what the table foretold, 0..1, for a part
    that a face photo shows already."""

    shown: Array
    hidden: Array
    specimens: float
    worth: float

    def __post_init__(self) -> None:
        rows = np.vstack([self.shown, self.hidden])
        if len(self.shown) != len(SUBSTRATES) or (rows < 0).any() or not np.allclose(rows.sum(axis=1), 1, atol=1e-3):
            raise ValueError("a row of a table of outcomes is no distribution")
        if not 0 <= self.worth <= 1 or self.specimens < 0:
            raise ValueError(f"worth {self.worth} or specimens {self.specimens} make no sense")


@dataclass(frozen=True, eq=False)
class Readings:
    """All kinds by name; `by_hand`: what the classifier got out of photos over what a table of common practice says a person
    could see in them; `again`: what a further photo of a kind in view already is worth over the first; `lean`: specimens that a
    table of common practice counts for beside photos that were learnt from."""

    kinds: Mapping[str, Reading]
    by_hand: float
    again: float
    lean: float

    def __post_init__(self) -> None:
        if not (0 <= self.by_hand <= 1 and 0 <= self.again <= 1 and self.lean >= 0):
            raise ValueError(f"shares {self.by_hand}, {self.again} or lean {self.lean} make no sense")


def parsed(text: str) -> Readings:
    """Readings of the JSON text.

    Raises
    ------
    ModelMismatch
        if it is damaged or made for other classes.
    """
    try:
        raw: dict[str, Any] = json.loads(text)
        if raw["format"] != FORMAT:
            raise ValueError(f"its format {raw['format']} is not {FORMAT}")
        kinds = {}
        for kind in KINDS:
            row = raw["kinds"][kind]
            if set(row["shown"]) != set(SUBSTRATES):
                raise ValueError("it was made for other substrates")
            shown, hidden = np.array([row["shown"][s] for s in SUBSTRATES]), np.array(row["hidden"])
            read = Reading(shown, hidden, float(row["specimens"]), float(row["worth"]))
            # Stored with few decimals: made to sum to 1 exactly.
            kinds[kind] = replace(read, shown=shown / shown.sum(axis=1, keepdims=True), hidden=hidden / hidden.sum())
        return Readings(kinds, float(raw["by_hand"]), float(raw["again"]), float(raw["lean"]))
    except (json.JSONDecodeError, KeyError, TypeError, ValueError) as error:
        raise ModelMismatch(FILE, f"the table of further photos is damaged ({error}).", "Reinstall the program.") from error


@lru_cache(maxsize=1)
def shipped_readings() -> Readings:
    """The table that comes with the program.

    Raises
    ------
    ModelMismatch
        if it is missing or damaged.
    """
    try:
        text = files("vision").joinpath(FILE).read_text(encoding="utf-8")
    except OSError as error:
        raise ModelMismatch(FILE, f"the table of further photos is missing ({error}).", "Reinstall the program.") from error
    return parsed(text)
