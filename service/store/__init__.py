"""What the browser service keeps: pieces, photos, answers, jobs and results, in a database and a folder of files."""

from service.store.errors import (
    JobLost,
    NotThere,
    Refused,
    StoreBusy,
    StoreDamaged,
    StoreError,
    StoreFull,
)
from service.store.limits import StoreLimits
from service.store.store import Store

__all__ = [
    "JobLost", "NotThere", "Refused", "Store", "StoreBusy", "StoreDamaged", "StoreError", "StoreFull", "StoreLimits",
]
