"""How the web service runs: where it listens, who may ask, how much at once."""

from __future__ import annotations

import ipaddress
import os
from dataclasses import dataclass


def is_loopback(host: str) -> bool:
    """True where only this machine can reach what listens on `host`."""
    if host.casefold() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


@dataclass(frozen=True)
class WebSettings:
    """`host`, `port`: where it listens. `names`: host names besides addresses that browsers may ask for (against a foreign page
    that points its own name here). `demand_key`: ask for the access key even on loopback, for use behind a forwarding server.
    `form_bytes`: a request that is no photo. `uploads_at_once`: photos taken in at the same time, which bounds memory and leaves
    the processor to the pages. `requests_a_minute`, `uploads_a_minute`: of one client, where a key is demanded; `tries_a_minute`:
    keys tried by one client, always. `lease_s`: seconds a silent worker keeps its job. `streams`: progress streams open at once.
    `session_s`: seconds a browser stays signed in."""

    host: str = "127.0.0.1"
    port: int = 8765
    names: tuple[str, ...] = ()
    demand_key: bool = False
    form_bytes: int = 1024 * 1024
    uploads_at_once: int = max(1, (os.cpu_count() or 2) - 1)
    requests_a_minute: int = 600
    uploads_a_minute: int = 120
    tries_a_minute: int = 6
    lease_s: float = 20.0
    streams: int = 200
    session_s: int = 30 * 24 * 3600

    def __post_init__(self) -> None:
        least = min(self.form_bytes, self.uploads_at_once, self.requests_a_minute, self.uploads_a_minute, self.tries_a_minute,
                    self.streams, self.session_s)  # fmt: skip
        if least < 1 or self.lease_s <= 0 or not 0 <= self.port <= 65535:
            raise ValueError(f"settings must be positive, got {self}")

    @property
    def key_demanded(self) -> bool:
        """Whether visitors must sign in with the access key: always off loopback."""
        return self.demand_key or not is_loopback(self.host)
