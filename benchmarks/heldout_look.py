"""The program, with the numbers of taught panels replaced by those of edge models and panel nets that never saw their author."""

from __future__ import annotations

from training import edge_held_out, net_held_out
from vision import panel_net
from vision.edges import side
from vision.types import GrainField, WorkingView

_edge, _net = side.measure, panel_net.measure


def edge_numbers(view: WorkingView, field: GrainField) -> dict[str, float]:
    """As vision.edges.side.measure, but held out."""
    return {**_edge(view, field), **edge_held_out.numbers_for(view.panel.outline)}


def net_numbers(view: WorkingView, field: GrainField | None) -> dict[str, float]:
    """As vision.panel_net.measure, but held out; a panel of a taught photo with another outline is asked of the shipped net."""
    return {**_net(view, field), **net_held_out.numbers_for(view.panel.outline)}


if __name__ == "__main__":
    from service.cli import main

    side.measure, panel_net.measure = edge_numbers, net_numbers
    main()
