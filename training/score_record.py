"""Figures of the collection's own score script, kept in docs/scores.json and shown in docs/accuracy.md and docs/measured.md.

    python ../shared/checks/score_photos.py --no-finding --json held_out.json \\
        --program ".venv/bin/python $PWD/benchmarks/heldout_grainassay.py"        # every author by a model that never saw them
    python -m training.score_record --held-out held_out.json
    python -m training.finding_scores --photos DIR --cache DIR --renders DIR --nets training/nets > finding.txt
    python -m training.score_record --finding finding.txt                   # and so for all names and commands in PRINTED
    python -m training.accuracy --write

The score script drives the installed program photo by photo, as a user would; it belongs to the photo collection, not to this
repository.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

STORE = Path(__file__).resolve().parent.parent / "docs" / "scores.json"
RUNS = {
    "held_out": "verdicts, each author judged by a model taught without them",
}


#: Section of docs/accuracy.md -> name -> command whose output is kept and shown.
PRINTED = {
    "The unseen rendered test": {
        "unseen": "python -m training.rendered_scores --rows FILE",
        "net_alone": "python -m training.rendered_scores --rows FILE --net-alone FILE",
        "unseen_silent": "python -m training.rendered_scores --rows FILE --without net_region",
        "ceiling": "python -m training.rendered_ceiling --rows FILE",
    },
    "Other models, sets, markets": {
        "models": "python -m training.model_table",
        "trials": "python -m training.net_trials --stacked",
        "baselines": "python -m training.baselines --photos DIR",
        "sets": "python -m training.conformal_check",
        "market": "python -m training.market_check",
    },
    "Refusal, robustness, cues, evidence": {
        "refusal": "python -m training.refusal_scores --photos DIR --textures DIR DIR --cache DIR --kept DIR",
        "robust": "python -m training.robust_scores --photos DIR --renders DIR --cache DIR --kept DIR --every-rendered 2",
        "cues": "python -m training.cue_scores --kept FILE",
        "eye_cues": "python -m training.eye_cue_scores",
        "regions": "python -m training.net_region_scores --photos DIR --every 3",
    },
    "Many photos, and the next one": {
        "fused": "python -m training.fuse_scores --renders DIR --photos DIR",
        "next": "python -m training.next_gain --check --renders DIR",
    },
    "Finding panels": {
        "finding": "python -m training.finding_scores --photos DIR --cache DIR --renders DIR --nets training/nets",
        "rendered": "python -m training.rendered_panels --renders DIR --most 120 --nets training/nets",
        "background": "python -m training.background_scores --photos DIR --renders DIR --nets training/nets --most 60",
    },
    "Which part a panel is, and photo problems": {
        "roles": "python -m training.roles --renders DIR",
        "problems": "python -m training.problem_rates --photos DIR",
    },
    "Millimetres": {
        "millimetres": "python -m training.scale_scores card card_tap coin_tap ruler sheet points others --count 12 --seed 9000",
        "cardless": "python -m training.scale_scores real --photos DIR --part 1/4",
    },
    "Edges, joints, fittings, damage": {
        "edges": "python -m training.edge_scores --photos DIR --json FILE && python -m training.edge_summary FILE",
        "strips": "python -m training.strip_scores --renders DIR --json FILE --every 2 --found 6",
        "joints": "python -m training.joint_scores --each 1 5 4 --fingered 1 8 12 --photos DIR --every 6 --json FILE",
        "fittings": "python -m training.hardware_scores --json FILE --photos DIR --renders DIR --every 6",
        "damage": "python -m training.damage_scores --photos DIR --json FILE",
        "told": "python -m training.detail_rates --renders DIR --photos DIR --every 14",
    },
    "Repeats and leaf layouts": {
        "repeats": "python -m training.repeat_scores --photos DIR --textures DIR --json FILE",
        "specimens": "python -m training.repeat_specimens --photos DIR",
        "traps": "python -m training.repeat_traps --photos DIR --textures DIR --part report --json FILE",
        "layouts": "python -m training.layout_scores --photos DIR --textures DIR --json FILE",
        "laid": "python -m training.layout_panels --photos DIR --renders DIR --most 30",
        "cost": "python -m benchmarks.repeat_cost",
    },
}
#: What a reader must know of a section: under which state of the program it was measured.
NOTES = {
    "The unseen rendered test": "Two sets. The first two outputs are of 532 photos of generator version 6, with all that the "
                                "program has. The last two are of 1,040 photos of version 7 whose pixels were not kept: what the "
                                "panel net would say of them is not known, so there the classifier is judged as if the net kept "
                                "silent (on the first set silence costs 0.11 of balanced accuracy, forced, and halves what is "
                                "decided).",
    "Finding panels": "Measured before the backbone was kept in half floats (its numbers moved by 0.3 % on average), and "
                      "verdicts on background with the classifier before the panel net.",
    "Edges, joints, fittings, damage": "Measured before the backbone's weights were kept as half floats; only edges read it.",
}
KEPT = tuple(name for commands in PRINTED.values() for name in commands)


def record(runs: dict[str, Path]) -> None:
    """Keep the figures and intervals of score files; other runs in the store stay."""
    kept: dict[str, Any] = json.loads(STORE.read_text(encoding="utf-8")) if STORE.exists() else {}
    for name, path in runs.items():
        if name in KEPT:
            kept[name] = path.read_text(encoding="utf-8").rstrip().splitlines()
            continue
        found = json.loads(path.read_text(encoding="utf-8"))
        kept[name] = {"panels": len(found["panels"]), "specimens": len({p["group"] for p in found["panels"]}),
                      "unanswered": found["unanswered"],
                      "figures": {k: None if v is None else round(v, 4) for k, v in found["figures"].items()},
                      "intervals": {k: [round(x, 3) for x in v] for k, v in found["intervals"].items()}}
    STORE.write_text(json.dumps(kept, indent=1, sort_keys=True) + "\n", encoding="utf-8")


def section() -> Iterator[str]:
    """Markdown lines of the stored runs; one line when nothing is stored."""
    if not STORE.exists():
        yield "No run of the score script is stored."
        return
    kept: dict[str, Any] = json.loads(STORE.read_text(encoding="utf-8"))
    for name, about in RUNS.items():
        if name not in kept:
            continue
        run = kept[name]
        size = f"{run['panels']} panels of {run['specimens']} specimens, {run['unanswered']} unanswered"
        yield f"**{name.replace('_', ' ')}**: {about}. {size}."
        yield ""
        yield "| figure | value | 95 % interval |"
        yield "|---|---|---|"
        for key, value in run["figures"].items():
            low_high = run["intervals"].get(key)
            span = f"[{low_high[0]:.2f}, {low_high[1]:.2f}]" if low_high else ""
            yield f"| {key} | {'-' if value is None else format(value, '.3f')} | {span} |"
        yield ""


def printed() -> Iterator[str]:
    """Markdown lines of the stored outputs of our own scripts by section, each below its command."""
    kept: dict[str, Any] = json.loads(STORE.read_text(encoding="utf-8")) if STORE.exists() else {}
    for title, commands in PRINTED.items():
        if not any(name in kept for name in commands):
            continue
        yield from (f"## {title}", "")
        if title in NOTES:
            yield from (NOTES[title], "")
        for name, command in commands.items():
            if name in kept:
                yield from (f"`{command}`", "", "```", *kept[name], "```", "")


def main() -> None:
    """Record the score files named on the command line."""
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--held-out", type=Path, dest="held_out")
    for name in KEPT:
        ap.add_argument(f"--{name}", type=Path)
    args = ap.parse_args()
    record({k: v for k, v in vars(args).items() if v is not None})


if __name__ == "__main__":
    main()
