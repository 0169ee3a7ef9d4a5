"""The web service under load: python -m benchmarks serve_load

Fifty photos of 12 megapixels are sent at once to a service of its own on two cores. Nothing may be lost, memory stays bounded and
the list of pieces still answers; latency is that of the whole page, asked for one after the other.
"""

from __future__ import annotations

import io
import os
import re
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from types import TracebackType

import httpx
import numpy as np
from PIL import Image

from benchmarks.rows import Row, use_two_cores
from vision.resize import resize

PHOTOS, WIDTH, HEIGHT = 50, 4000, 3000
SERVE = "import typer; from service.serve_commands import serve; typer.run(serve)"


class Service:
    """A running service over a folder, on a free port; stopped at the end of the block."""

    def __init__(self, folder: Path) -> None:
        command = [sys.executable, "-c", SERVE, "--folder", str(folder), "--port", "0"]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        assert self.process.stdout is not None
        found = re.search(r"http://127\.0\.0\.1:\d+", self.process.stdout.readline())
        if found is None:
            raise RuntimeError("the service did not start")
        self.address = found[0]
        until(lambda: self._answers())

    def _answers(self) -> bool:
        try:
            return httpx.get(self.address + "/api/v1/pieces", timeout=30).status_code == 200
        except httpx.TransportError:
            return False

    @property
    def workers(self) -> list[int]:
        """Process ids of its workers."""
        pid = self.process.pid
        text = Path(f"/proc/{pid}/task/{pid}/children").read_text("ascii")
        tasks = [p.read_text("ascii") for p in Path(f"/proc/{pid}/task").glob("*/children")]
        return sorted({int(p) for t in (text, *tasks) for p in t.split()})

    def peak_mb(self) -> float:
        """Most memory that the server itself has held."""
        found = re.search(r"VmHWM:\s+(\d+)", Path(f"/proc/{self.process.pid}/status").read_text("ascii"))
        return int(found[1]) / 1024 if found else float("nan")

    def kill(self) -> None:
        """At once, without a chance to put anything in order."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def __enter__(self) -> Service:
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            self.process.wait(90)


def until(what: object, seconds: float = 60.0) -> None:
    """Waits for something to be true."""
    end = time.monotonic() + seconds
    while not what():  # type: ignore[operator]
        if time.monotonic() > end:
            raise TimeoutError("it never came")
        time.sleep(0.05)


def photos(count: int, width: int, height: int) -> list[bytes]:
    """Pictures with detail, each another; JPEG."""
    rng = np.random.default_rng(1)
    pixels = resize(rng.integers(0, 255, (height // 10, width // 10, 3), dtype=np.uint8), width, height)
    out = []
    for n in range(count):
        pixels[:8, :8] = n
        file = io.BytesIO()
        Image.fromarray(pixels).save(file, "JPEG", quality=90)
        out.append(file.getvalue())
    return out


def _latencies(address: str, sent: list[Future[int]] | None) -> list[float]:
    out: list[float] = []
    with httpx.Client(base_url=address, timeout=120) as client:
        while (len(out) < 40) if sent is None else not all(f.done() for f in sent):
            began = time.perf_counter()
            client.get("/").raise_for_status()
            out.append(time.perf_counter() - began)
            time.sleep(0.05)
    return out


def rows() -> list[Row]:
    """Lost photos, latency under load against idle, memory, time."""
    use_two_cores()
    made = photos(PHOTOS, WIDTH, HEIGHT)
    with tempfile.TemporaryDirectory() as folder, Service(Path(folder)) as service:
        with httpx.Client(base_url=service.address + "/api/v1", timeout=300) as client:
            pieces = [client.post("/pieces", json={}).json()["id"] for _ in range(5)]

        def send(n: int) -> int:
            where = f"{service.address}/api/v1/pieces/{pieces[n % 5]}/photos"
            return httpx.post(where, files={"photo": made[n]}, timeout=300).status_code

        _latencies(service.address, None)
        idle = statistics.median(_latencies(service.address, None))
        began = time.perf_counter()
        with ThreadPoolExecutor(PHOTOS) as pool:
            sent = [pool.submit(send, n) for n in range(PHOTOS)]
            loaded = _latencies(service.address, sent)
        took, peak = time.perf_counter() - began, service.peak_mb()
        accepted = sum(f.result() == 201 for f in sent)
        kept = sum(httpx.get(f"{service.address}/api/v1/pieces/{p}").json()["photo_count"] for p in pieces)
    return [
        Row(f"serve: of {PHOTOS} photos of 12 MP sent at once, lost", PHOTOS - min(accepted, kept), "photos", 0),
        Row("serve: median page under that load, against idle", statistics.median(loaded) / idle, "times", 5),
        Row("serve: median page, idle", 1000 * idle, "ms"), Row("serve: longest page under load", 1000 * max(loaded), "ms"),
        Row("serve: most memory of the server", peak, "MB", 1000), Row("serve: until all photos were kept", took, "s"),
    ]  # fmt: skip


if __name__ == "__main__":
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    print(*rows(), sep="\n")
