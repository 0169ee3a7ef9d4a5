"""How far solid wood swells and shrinks between two climates."""

from __future__ import annotations

from dataclasses import dataclass

from service.wood.density import Species
from service.wood.moisture import equilibrium
from vision.errors import UsageError

#: Change of width that most joints take, and from which a held part splits or buckles, mm (estimates).
SMALL_MM, LARGE_MM = 1.0, 4.0


@dataclass(frozen=True)
class Climate:
    """Air. `humidity`: relative, percent; `celsius`: its temperature."""

    humidity: float
    celsius: float = 21.0

    @property
    def moisture(self) -> float:
        """Percent of water that wood comes to hold in it."""
        return equilibrium(self.humidity, self.celsius)


@dataclass(frozen=True)
class Movement:
    """Change of width in mm, positive for swelling: of quarter-sawn and of flat-sawn boards, None where no value is at hand."""

    before: float
    after: float
    quarter_mm: float | None
    flat_mm: float | None


def change(size: float, coefficient: float, before: float, after: float) -> float:
    """Size times coefficient times change of moisture, percent (Wood Handbook eq. 13-2; good from 6 to 14 %)."""
    return size * coefficient * (after - before)


def risk(mm: float) -> str:
    """Words for a change of width where something holds the part: how a join, a groove or a cleat is likely to take it. The
    bounds are estimates."""
    size = abs(mm)
    if size < SMALL_MM:
        return "small: most joints take it"
    if size < LARGE_MM:
        return ("a gap of that width opens at a joint or a mitre" if mm < 0 else "it may jam in a groove or press a frame apart")
    return "it splits where it is held" if mm < 0 else "it buckles or pushes its frame apart where it is held"


def between(wood: Species, width_mm: float, store: Climate, home: Climate) -> Movement:
    """What a board of some width does when it goes from one climate to the other and stays.

    Raises
    ------
    UsageError
        if neither coefficient of the wood is known, or the width is not above zero.
    """
    if width_mm <= 0:
        raise UsageError("width", f"{width_mm} mm is not above zero.", "Give the size across the grain.")
    if wood.radial is None and wood.tangential is None:
        raise UsageError("species", f"how {wood.name} moves is not known here.", "Take a wood that is like it.")
    a, b = store.moisture, home.moisture
    quarter, flat = (None if c is None else change(width_mm, c, a, b) for c in (wood.radial, wood.tangential))
    return Movement(a, b, quarter, flat)
