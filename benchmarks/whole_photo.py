"""A whole 12-megapixel photo, from opening the file to the JSON text of its verdicts, against one call of scikit-image's
structure tensor.

    python -m benchmarks.whole_photo

Both run in one process, turn by turn, on two cores; the model is loaded beforehand. The yardstick is
`skimage.feature.structure_tensor(grey, sigma=3)` on the full-size photo, with the grey levels as decoded (uint8): the
target is to take less time than that. The same call on float32, the form in which it is fastest, is shown beside it.
Memory is the high-water mark of a fresh process that opens and assesses the photo once. Start-up (imports, models) is
reported apart. So is the look for joints, fittings and damage, which moves no verdict (`look --verdicts-only` leaves it out).
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

from benchmarks.rows import Row, table, use_two_cores

ROUNDS = 3
MEMORY_LIMIT_MB = 900.0


def high_water_mb() -> float:
    """Most memory this process has held, MB (10^6 bytes). Linux: VmHWM, which starts afresh at exec."""
    status = Path("/proc/self/status").read_text()
    line = next(x for x in status.splitlines() if x.startswith("VmHWM"))
    return int(line.split()[1]) * 1024 / 1e6


def seconds(work: Callable[[], object]) -> float:
    """Wall time of one call."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def start_engine() -> Any:
    """Import the program and load its models, as the first assessment would."""
    from service.engine import default_engine
    from vision.backbone import session

    engine = default_engine()
    engine.assess([], outlines={}, taps={}, model=None, prior=None, progress=None)
    session()
    return engine


def assess(engine: Any, photo: str, *, details: bool = False) -> str:
    """File to JSON text, as `grainassay look --json --verdicts-only` does it, or with all there is to see."""
    from service.contract import document, to_json
    from service.look import Request, look

    return to_json(document(look(Request((photo,), details=details), engine).assessment))


def child_memory(photo: str) -> dict[str, Any]:
    """Start-up and one assessment in a process that does nothing else."""
    engine: list[Any] = []
    start = seconds(lambda: engine.append(start_engine()))
    started_mb = high_water_mb()
    text: list[str] = []
    first = seconds(lambda: text.append(assess(engine[0], photo, details=True)))
    panels = sum(len(p["panels"]) for p in json.loads(text[0])["photos"])
    return {"start": start, "started_mb": started_mb, "first": first, "mb": high_water_mb(), "panels": panels}


def child_time(photo: str) -> dict[str, Any]:
    """Turn by turn: verdicts, verdicts with all that is seen besides, the yardstick on uint8, the yardstick on float32."""
    import numpy as np
    from PIL import Image
    from skimage.feature import structure_tensor

    engine = start_engine()
    with Image.open(photo) as image:
        grey = np.asarray(image.convert("L"))
    grey32 = grey.astype(np.float32) / np.float32(255)
    times: dict[str, list[float]] = {"ours": [], "details": [], "tensor8": [], "tensor32": []}
    for _ in range(ROUNDS):
        times["ours"].append(seconds(lambda: assess(engine, photo)))
        times["details"].append(seconds(lambda: assess(engine, photo, details=True)))
        times["tensor8"].append(seconds(lambda: structure_tensor(grey, sigma=3)))
        times["tensor32"].append(seconds(lambda: structure_tensor(grey32, sigma=3)))
    return {name: median(values) for name, values in times.items()}


CHILDREN = {"memory": child_memory, "time": child_time}


def run_child(kind: str, photo: Path) -> dict[str, Any]:
    """Run a part of the benchmark in a process of its own."""
    command = [sys.executable, "-m", "benchmarks.whole_photo", kind, str(photo)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    result: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return result


def rows() -> list[Row]:
    """All figures with their targets."""
    from benchmarks.big_photo import write

    use_two_cores()
    with tempfile.TemporaryDirectory() as folder:
        photo = write(Path(folder))
        memory, times = run_child("memory", photo), run_child("time", photo)
    return [
        Row("start-up: imports and models", memory["start"], "s"),
        Row(f"12-megapixel photo, file to JSON of verdicts ({memory['panels']} panels), median of {ROUNDS}", times["ours"], "s"),
        Row("the same with joints, fittings and damage", times["details"], "s"),
        Row("the first photo after start-up", memory["first"], "s"),
        Row("structure tensor of the same photo, uint8 as decoded", times["tensor8"], "s"),
        Row("structure tensor of the same photo, float32", times["tensor32"], "s"),
        Row("our time over the structure tensor's (uint8)", times["ours"] / times["tensor8"], "times", 1.0),
        Row("with joints, fittings and damage over the structure tensor's (uint8, no target)",
            times["details"] / times["tensor8"], "times"),
        Row("our time over the structure tensor's (float32, no target)", times["ours"] / times["tensor32"], "times"),
        Row("most memory held: started, models loaded", memory["started_mb"], "MB"),
        Row("most memory held: one 12-megapixel photo assessed", memory["mb"], "MB", MEMORY_LIMIT_MB),
    ]


if __name__ == "__main__":
    if len(sys.argv) == 3:
        print(json.dumps(CHILDREN[sys.argv[1]](sys.argv[2])))
    else:
        print(table(rows()))
