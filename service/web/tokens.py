"""Tokens that pages and browsers carry: signed with a secret of the store, so that they survive a restart; and the access key."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
import time
from collections.abc import Callable

from service.store import Store
from vision.errors import UsageError

SECRET, KEY = "web-secret", "access-key"
#: Shortest access key; it can be tried from anywhere that reaches the machine.
KEY_CHARS = 10
#: Longest that is looked at: hashing takes time with length.
MOST_CHARS = 200
#: Keys checked at once: each takes 64 MB for a moment.
_checking = threading.BoundedSemaphore(2)


def secret(store: Store) -> bytes:
    """The secret that signs, made once and kept."""
    kept = store.settings.get(SECRET)
    if not isinstance(kept, str):
        store.settings.put(SECRET, secrets.token_hex(32))
        kept = str(store.settings.get(SECRET))
    return bytes.fromhex(kept)


def signed(key: bytes, what: str, text: str) -> str:
    """Signature of a text for one purpose, 43 URL-safe characters (HMAC-SHA-256, RFC 2104)."""
    import base64

    made = hmac.new(key, f"{what}\0{text}".encode(), hashlib.sha256).digest()
    return base64.urlsafe_b64encode(made).decode().rstrip("=")


def set_key(store: Store, key: str) -> None:
    """Keeps the access key as an argon2id hash (RFC 9106); earlier sign-ins end. Raises UsageError for a short one."""
    from argon2 import PasswordHasher

    if not KEY_CHARS <= len(key) <= MOST_CHARS:
        raise UsageError("The access key", f"It has {len(key)} characters.", f"Choose {KEY_CHARS} to {MOST_CHARS} characters.")
    store.settings.put(KEY, PasswordHasher().hash(key))


def forget_key(store: Store) -> None:
    """Removes the access key; earlier sign-ins end."""
    store.settings.put(KEY, None)


def key_hash(store: Store) -> str | None:
    """The hash kept, or None where no key is set."""
    kept = store.settings.get(KEY)
    return kept if isinstance(kept, str) else None


def key_fits(kept: str | None, key: str) -> bool:
    """Whether this is the access key; slow on purpose."""
    from argon2 import PasswordHasher
    from argon2.exceptions import Argon2Error, InvalidHashError

    if kept is None or len(key) > MOST_CHARS:
        return False
    with _checking:
        try:
            return PasswordHasher().verify(kept, key)
        except (Argon2Error, InvalidHashError):
            return False


class Sessions:
    """Sign-ins without anything kept: a cookie with its end, signed together with the hash of the key it was given for."""

    def __init__(self, sign: bytes, now: Callable[[], float] = time.time) -> None:
        self._sign, self._now = sign, now

    def begin(self, kept: str, seconds: int) -> str:
        """A cookie value good for so many seconds or until the key is changed."""
        text = f"{int(self._now()) + seconds}.{secrets.token_urlsafe(12)}"
        return f"{text}.{signed(self._sign, 'session', text + kept)}"

    def holds(self, value: str, kept: str | None) -> bool:
        """Whether the cookie value is one of ours and still good."""
        text, _, signature = value.rpartition(".")
        end = text.partition(".")[0]
        if kept is None or not (end.isascii() and end.isdigit() and len(end) < 16) or int(end) < self._now():
            return False
        return hmac.compare_digest(signature.encode(), signed(self._sign, "session", text + kept).encode())
