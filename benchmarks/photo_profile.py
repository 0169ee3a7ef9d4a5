"""Where the time goes between opening a 12-megapixel photo and the JSON text of its verdicts.

    python -m benchmarks.photo_profile

The photo, the way and the two cores are those of `benchmarks.whole_photo`. The functions of each stage are wrapped by a
clock that counts a stage's own time, without the stages called within it; two panels are measured at a time, so the
seconds of all threads add up to more than the time a user waits. Median of three turns after one to warm up.
"""

from __future__ import annotations

import importlib
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from statistics import median
from typing import Any

from benchmarks.rows import use_two_cores

ROUNDS = 3
REST = "all else: results, parts, JSON"
#: Stage -> places (module, name within it) of the functions that are its work, as they are looked up when called.
STAGES: dict[str, tuple[tuple[str, str], ...]] = {
    "decode": (("vision.intake.load", "load_photo"),),
    "photo problems": (("vision.assess", "measure_problems"),),
    "find panels": (("vision.assess", "find_panels"),),
    "rectify": (("vision.measure", "rectify"),),
    "grain field": (("vision.grain", "grain_field"),),
    "grain: flow, strips, seams, knots": (("vision.grain", "measure"), ("vision.seen", "located_in_grain")),
    "colour": (("vision.surface.colour", "measure"),),
    "texture": (("vision.surface.texture", "measure"),),
    "print clues": (("vision.surface.prints", "measure"),),
    "gloss": (("vision.surface.gloss", "measure"),),
    "paint clues": (("vision.surface.paint", "measure"),),
    "edges: strips": (("vision.edges.strips", "measure"), ("vision.seen", "located_on_edges")),
    "edges: over an arris": (("vision.edges.side", "measure"), ("vision.edges.side", "side_report")),
    "layouts": (("vision.layouts", "measure"), ("vision.layouts", "read_layout")),
    "looks of the backbone": (("vision.measure", "looks"),),
    "judge": (("vision.inference.model.Model", "judge"), ("vision.inference.model.Model", "verdict")),
    "repeats": (("vision.assess", "with_repeats"),),
    "findings": (("vision.seen", "panel_drafts"), ("vision.seen", "cues_in_view"), ("vision.assess", "cross_photo_drafts")),
    "parts and next steps": (("vision.assess", "find_parts"), ("vision.assess", "next_steps")),
}


class Clock:
    """Own seconds of stages, over all threads: the time of a stage called within another counts only for itself."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = defaultdict(float)
        self._lock = threading.Lock()
        self._local = threading.local()

    def timed(self, stage: str, work: Callable[..., Any]) -> Callable[..., Any]:
        """The same function, its time counted for a stage."""

        @wraps(work)
        def run(*args: Any, **kwargs: Any) -> Any:
            within: list[float] = self._local.__dict__.setdefault("within", [])
            within.append(0.0)
            start = time.perf_counter()
            try:
                return work(*args, **kwargs)
            finally:
                spent = time.perf_counter() - start
                own = spent - within.pop()
                if within:
                    within[-1] += spent
                with self._lock:
                    self.seconds[stage] += own

        return run


def place(module: str) -> Any:
    """A module, or a class in one, by its dotted name."""
    parent, _, name = module.rpartition(".")
    return getattr(importlib.import_module(parent), name) if name[:1].isupper() else importlib.import_module(module)


@contextmanager
def watched(clock: Clock) -> Iterator[None]:
    """Every stage's functions run under the clock; put back at the end."""
    kept = []
    try:
        for stage, places in STAGES.items():
            for module, name in places:
                owner = place(module)
                kept.append((owner, name, getattr(owner, name)))
                setattr(owner, name, clock.timed(stage, getattr(owner, name)))
        yield
    finally:
        for owner, name, work in reversed(kept):
            setattr(owner, name, work)


def profile(photo: Path) -> tuple[dict[str, float], float]:
    """Median own seconds by stage, and median seconds from file to JSON."""
    from benchmarks.whole_photo import assess, seconds, start_engine

    engine = start_engine()
    assess(engine, str(photo))
    turns: list[dict[str, float]] = []
    waited = []
    for _ in range(ROUNDS):
        clock = Clock()
        with watched(clock):
            whole = clock.timed(REST, assess)
            waited.append(seconds(lambda work=whole: work(engine, str(photo))))  # type: ignore[misc]
        turns.append(dict(clock.seconds))
    return {s: median(t.get(s, 0.0) for t in turns) for s in (*STAGES, REST)}, median(waited)


def table(found: dict[str, float], waited: float) -> str:
    """Markdown, most time first. The rest waits for the measuring threads and is left out of the shares."""
    work = {k: v for k, v in found.items() if k != REST}
    total = sum(work.values())
    lines = [f"| stage ({waited:.2f} s from file to JSON, {total:.2f} s of work in its threads) | s | share |", "|---|---|---|"]
    small = {k: v for k, v in work.items() if v < 0.01 * total}
    shown = sorted((kv for kv in work.items() if kv[0] not in small), key=lambda kv: -kv[1])
    lines += [f"| {name} | {value:.2f} | {value / total:.0%} |" for name, value in shown]
    if small:
        lines.append(f"| {', '.join(small)} | {sum(small.values()):.2f} | {sum(small.values()) / total:.0%} |")
    return "\n".join(lines)


def main() -> None:
    """Print the table."""
    from benchmarks.big_photo import write

    use_two_cores()
    with tempfile.TemporaryDirectory() as folder:
        print(table(*profile(write(Path(folder)))))


if __name__ == "__main__":
    main()
