"""The figures of `training.edge_scores` as one table, ours beside the embedding's: `python -m training.edge_summary FILE`."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

#: Name in the table -> path in the JSON file below "ours" and "embedding".
FIGURES = {
    "kind, made, balanced": ("made_kind", "all", "balanced_accuracy"),
    "  close": ("made_kind", "close", "balanced_accuracy"),
    "  angled": ("made_kind", "angled", "balanced_accuracy"),
    "  wood and glued strips as one": ("made_kind", "all", "wood_and_strips_as_one"),
    "  share named": ("made_kind", "all", "named"),
    "  right when named": ("made_kind", "all", "right_when_named"),
    "  traps called plies": ("made_kind", "all", "traps_called_plies"),
    "kind, real, photographers held out": ("real_kind", "balanced_accuracy"),
    "  share named ": ("real_kind", "named"),
    "  right when named ": ("real_kind", "right_when_named"),
    "  taught on made edges alone": ("real_kind_made_pictures_only", "balanced_accuracy"),
    "thin layer of 3 px or more found": ("thin_layer", "found"),
    "  in its place": ("thin_layer", "found_in_place"),
    "  false alarms": ("thin_layer", "false_alarms"),
    "one piece against strip or veneer, AUC": ("continuation", "all"),
    "  wood below a foreign face": ("continuation", "wood_below_a_foreign_face"),
    "  lines alone": ("continuation", "lines_alone"),
}
PLIES = {"plies counted exactly, ply of 5 px or more": "exact", "  well outlined": "exact_where_well_outlined",
         "  within one": "within_one", "  a constant answer": "constant_exact"}
TRAPS = "traps named what they look like or called one piece"


def _at(scores: dict[str, Any], path: tuple[str, ...]) -> Any:
    for key in path:
        scores = scores[key]
    return scores


def _cell(found: Any) -> str:
    if not isinstance(found, dict):
        return "-" if found is None else f"{found:.3f}"
    span = f" [{found['low']:.3f}, {found['high']:.3f}]" if "low" in found else ""
    return f"{found['value']:.3f}{span} of {found['edges']}"


def lines(scores: dict[str, Any]) -> Iterator[str]:
    """The table, line by line."""
    yield (f"{scores['made_edges']} made edges kept aside, taught on {scores['taught_on']}, joined on {scores['joined_on']}; "
           f"{scores['real_edges']} outlined real edges")
    yield f"{'':44}{'ours':32}embedding"
    for name, path in FIGURES.items():
        ours, theirs = (_cell(_at(scores[who], path)) for who in ("ours", "embedding"))
        yield f"{name:44}{ours:32}{theirs}"
    for name, key in PLIES.items():
        yield f"{name:44}{_cell(scores['ply_count'][key])}"
    yield f"{TRAPS}:"
    for trap, found in scores["ours"]["traps"].items():
        asked = [key for key in ("named_what_it_looks_like", "called_one_piece") if key in found]
        said = ", ".join(f"{key.replace('_', ' ')} {_cell(found[key])}" for key in asked)
        yield f"  {trap:24}{said}"


def main() -> None:
    """Print the table of a file."""
    for line in lines(json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))):
        print(line.rstrip())


if __name__ == "__main__":
    main()
