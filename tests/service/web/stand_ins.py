"""Engines for tests of jobs: one that waits to be told, one that fails; and a worker's process with the made-up chest."""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path

from tests.service.chest import ChestEngine


class Held(ChestEngine):
    """Stays in the middle of its work until it is let go."""

    def __init__(self) -> None:
        super().__init__()
        self.begun, self.free = threading.Event(), threading.Event()

    def assess(self, photos, **more):
        """As the chest, after waiting; asks now and then whether it is still wanted, as the real one does between stages."""
        self.begun.set()
        while not self.free.wait(0.02):
            more["progress"]("measuring panels", 0.4)
        return super().assess(photos, **more)


class Failing(ChestEngine):
    """Raises what it is given."""

    def __init__(self, error: BaseException) -> None:
        super().__init__()
        self.error = error

    def assess(self, photos, **more):
        """Fails."""
        raise self.error


class HeldByFile(ChestEngine):
    """Stays in the middle of its work as long as a file exists, and says there that it began."""

    def __init__(self, gate: Path) -> None:
        super().__init__()
        self.gate = gate

    def assess(self, photos, **more):
        """As the chest, once the file is gone."""
        more["progress"]("measuring panels", 0.4)
        if self.gate.exists():
            self.gate.write_text("begun")
        while self.gate.exists():
            time.sleep(0.02)
        return super().assess(photos, **more)


if __name__ == "__main__":
    from service.web.worker import main

    main(sys.argv[1], float(sys.argv[2]), HeldByFile(Path(sys.argv[3])))
