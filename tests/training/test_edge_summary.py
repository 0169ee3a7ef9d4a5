"""The table of edge figures holds what the file holds."""

from training.edge_summary import FIGURES, PLIES, lines


def _share(value, edges=10):
    return {"value": value, "low": value - 0.1, "high": value + 0.1, "edges": edges}


def _nested(value):
    out: dict = {"traps": {"rope": {"named_what_it_looks_like": _share(0.25)}}}
    for path in FIGURES.values():
        at = out
        for key in path[:-1]:
            at = at.setdefault(key, {})
        at[path[-1]] = _share(value)
    return out


def test_each_figure_stands_beside_the_baseline():
    scores = {"made_edges": 3, "taught_on": 4, "joined_on": 5, "real_edges": 6, "ours": _nested(0.8), "embedding": _nested(0.5),
              "ply_count": dict.fromkeys(PLIES.values(), _share(0.4))}
    found = list(lines(scores))
    row = next(line for line in found if line.startswith("kind, made"))
    assert "0.800 [0.700, 0.900] of 10" in row and "0.500 [0.400, 0.600] of 10" in row
    assert any("rope" in line and "0.250" in line for line in found)
    assert len(found) == 2 + len(FIGURES) + len(PLIES) + 2
