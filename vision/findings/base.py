"""What a finding maker sees and returns. One maker a file or table row, all listed in `vision.findings.MAKERS`."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.edges.strips import Located
from vision.findings.weigh import Weight
from vision.grain import GrainStructure
from vision.measure import PanelMeasure
from vision.net_answer import NetAnswer
from vision.types import Outline, Panel, Region


@dataclass(frozen=True, eq=False)
class PanelContext:
    """One panel with all that was measured and located on it, before findings are written.

    `weights`: finding kind -> weight of evidence on this panel's open question (faces, or cores on edges and ends). `net`: what
    the panel net answered, None where it was not asked.
    """

    panel: Panel
    measure: PanelMeasure
    structure: GrainStructure
    marks: tuple[Located, ...]
    weights: dict[str, Weight]
    net: NetAnswer | None = None

    def value(self, name: str) -> float:
        """A measured feature value (nan = not measurable)."""
        return self.measure.values[name]

    def outline_region(self) -> Region:
        """The whole panel as a region."""
        return Region(self.panel.photo, self.panel.id, "polygon", self.panel.outline)

    def region(self, kind: str, points: NDArray[np.float64]) -> Region:
        """Region from (n, 2) working-view points."""
        on_photo = self.measure.view.photo_points(np.asarray(points, dtype=np.float64).reshape(-1, 2))
        outline: Outline = tuple((round(float(x), 1), round(float(y), 1)) for x, y in on_photo)
        return Region(self.panel.photo, self.panel.id, kind, outline)


@dataclass(frozen=True)
class Draft:
    """A finding before it has an id. `where` and `text` as in `vision.types.Finding`."""

    kind: str
    where: tuple[Region, ...]
    weight: Weight
    text: str


Maker = Callable[[PanelContext], Iterable[Draft]]
