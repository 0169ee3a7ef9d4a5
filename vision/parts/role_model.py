"""The small network that names a panel's role from how it stands, and when it would rather not."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vision import registry
from vision.errors import ModelMismatch
from vision.parts.standing import NAMES

ROLES_FILE = "models/roles.npz"
ROLES = tuple(r for r in registry.ROLES if r != "unknown")
#: A photo with fewer panels than this shows too little of the layout to name roles as readily.
FEW = 6
Floats = NDArray[np.float32]


def many(x: NDArray[np.float64]) -> NDArray[np.intp]:
    """(n,) 1 where the photo shows at least FEW panels, from rows of `vision.parts.standing`."""
    return (np.exp(x[:, NAMES.index("panels")]) >= FEW - 0.5).astype(np.intp)


@dataclass(frozen=True, eq=False)
class RoleModel:
    """One hidden layer with ReLU: (d,) `centre` and `scale`, (d, k) `first`, (k,) `first_bias`, (k, roles) `second`,
    (roles,) `second_bias`; `limits` (2, roles): least probability at which a role is named, with fewer panels on the photo
    than FEW and with more."""

    centre: Floats
    scale: Floats
    first: Floats
    first_bias: Floats
    second: Floats
    second_bias: Floats
    limits: Floats

    def probabilities(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, roles) of (n, d) numbers of `vision.parts.standing`."""
        z = np.clip((x - self.centre) / self.scale, -4, 4)
        scores = np.maximum(z @ self.first + self.first_bias, 0) @ self.second + self.second_bias
        e = np.exp(scores - scores.max(axis=1, keepdims=True))
        return np.asarray(e / e.sum(axis=1, keepdims=True), dtype=np.float64)

    def named(self, x: NDArray[np.float64]) -> list[str]:
        """Role of each row, 'unknown' where none is likely enough."""
        p = self.probabilities(x)
        best = p.argmax(axis=1)
        least = self.limits[many(x), best]
        return [ROLES[k] if row[k] >= low else "unknown" for row, k, low in zip(p, best.tolist(), least, strict=True)]

    def save(self, path: Path) -> None:
        """Written as float32 arrays."""
        np.savez_compressed(path, **{k: np.asarray(v, dtype=np.float32) for k, v in vars(self).items()})  # type: ignore[arg-type]


@lru_cache(maxsize=1)
def shipped_roles() -> RoleModel:
    """The network that comes with the program.

    Raises
    ------
    ModelMismatch
        if the file is missing, damaged or made for other numbers or roles.
    """
    path = files("vision").joinpath(ROLES_FILE)
    try:
        with path.open("rb") as stream, np.load(stream, allow_pickle=False) as stored:
            model = RoleModel(**{name: stored[name] for name in RoleModel.__dataclass_fields__})
        if model.first.shape[0] != len(NAMES) or model.limits.shape != (2, len(ROLES)):
            raise ValueError("it was made for other numbers or roles")
    except (OSError, KeyError, ValueError) as error:
        raise ModelMismatch(ROLES_FILE, f"the role network is missing or damaged ({error}).", "Reinstall the program.") from error
    return model
