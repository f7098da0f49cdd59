"""Who may come in from the workshop's network: one-time tokens, sessions that end, sessions that can be ended.

No clock and no network here: the time is passed in. Only digests are kept, so that a copy of the memory opens no door.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass

TOKEN_SECONDS = 300.0
"""A token on the screen can be used for this long [s]; own choice: time to fetch a phone."""

SESSION_SECONDS = 12 * 3600.0
"""A paired phone stays in for this long [s]; own choice: a working day."""

GUESSES = 20
"""After so many wrong tokens every open offer is void. A token has 192 bits; this is for the log, not for luck."""


@dataclass(frozen=True, slots=True)
class Session:
    """One paired device.

    Attributes:
        id: short public name, to list and to end it by.
        name: what the device called itself.
        since, until: when it was paired and when it ends [s on the caller's clock].
    """

    id: str
    name: str
    since: float
    until: float


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


class Pairing:
    """Offers, and the sessions that came of them.

    Args:
        token_seconds, session_seconds: how long each holds [s].
        draw: where random text comes from; replaced in tests only.
    """

    def __init__(
        self,
        *,
        token_seconds: float = TOKEN_SECONDS,
        session_seconds: float = SESSION_SECONDS,
        draw: Callable[[], str] = lambda: secrets.token_urlsafe(24),
    ) -> None:
        self._token_seconds = token_seconds
        self._session_seconds = session_seconds
        self._draw = draw
        self._offers: dict[str, float] = {}
        self._sessions: dict[str, Session] = {}
        self._wrong = 0

    def offer(self, now: float) -> str:
        """A new token, to be shown as a code and used once."""
        self._offers = {digest: until for digest, until in self._offers.items() if until > now}
        self._wrong = 0
        token = self._draw()
        self._offers[_digest(token)] = now + self._token_seconds
        return token

    def redeem(self, token: str, name: str, now: float) -> tuple[str, Session] | None:
        """Use a token up.

        Args:
            token: as it was offered.
            name: what the device calls itself; cut to 60 characters.
            now: the time [s].
        Returns: the secret for the cookie and the session; None if the token is unknown, used or too old.
        """
        given = _digest(token)
        found = next((d for d in self._offers if hmac.compare_digest(d, given)), None)
        if found is None:
            self._wrong += 1
            if self._wrong >= GUESSES:
                self._offers.clear()
            return None
        if self._offers.pop(found) <= now:
            return None
        secret = self._draw()
        session = Session(secrets.token_hex(4), name.strip()[:60] or "a device", now, now + self._session_seconds)
        self._sessions[_digest(secret)] = session
        return secret, session

    def check(self, secret: str, now: float) -> Session | None:
        """The session of a cookie; None if there is none, or if it has ended."""
        given = _digest(secret)
        session = next((s for d, s in self._sessions.items() if hmac.compare_digest(d, given)), None)
        return session if session is not None and session.until > now else None

    def sessions(self, now: float) -> tuple[Session, ...]:
        """Those that are open, oldest first."""
        return tuple(sorted((s for s in self._sessions.values() if s.until > now), key=lambda s: s.since))

    def revoke(self, session_id: str) -> bool:
        """End one session; False if there is none of that name."""
        found = next((d for d, s in self._sessions.items() if s.id == session_id), None)
        if found is None:
            return False
        del self._sessions[found]
        return True
