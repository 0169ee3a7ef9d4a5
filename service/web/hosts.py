"""Which host names a request may ask for: against a foreign page that points a name of its own at this machine."""

from __future__ import annotations

import ipaddress
import re

from service.web.settings import WebSettings

_HOST = re.compile(r"(\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9._-]+)(?::\d{1,5})?")


def allowed(host: str, settings: WebSettings) -> bool:
    """True for addresses in figures (which no foreign page can point elsewhere), localhost, and the service's own names."""
    found = _HOST.fullmatch(host)
    if found is None:
        return False
    name = found[1].casefold().rstrip(".")
    if name in {"localhost", settings.host.casefold(), *(n.casefold() for n in settings.names)}:
        return True
    try:
        ipaddress.ip_address(name.strip("[]"))
        return True
    except ValueError:
        return False
