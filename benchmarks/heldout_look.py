"""The program, with the numbers of taught real edges replaced by those of an edge model that never saw their photographer."""

from __future__ import annotations

from training import edge_held_out
from vision.edges import side
from vision.types import GrainField, WorkingView

_measured = side.measure


def measure(view: WorkingView, field: GrainField) -> dict[str, float]:
    """As vision.edges.side.measure, but held out."""
    return {**_measured(view, field), **edge_held_out.numbers_for(view.panel.outline)}


if __name__ == "__main__":
    from service.cli import main

    side.measure = measure
    main()
