"""Which devices may come in: codes that are used once, expire and cannot be guessed at."""

import hmac
import io
import secrets
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from gaugewright.errors import GaugewrightError, InputError
from gaugewright.words import said

CODE_LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
"""Nothing that looks like something else."""
CODE_LENGTH = 8
CODE_LASTS_S = 300.0
TRIES, TRIES_WITHIN_S = 5, 60.0
"""Wrong codes that are taken within this time; after that nobody is let in for a while."""
MOST_WRONG = 20
"""Wrong codes after which the code that is out is worth nothing any more."""
MOST_DEVICES = 50


class PairingError(GaugewrightError):
    """A device was not let in; the message says why."""


class TooManyTriesError(PairingError):
    """Wrong codes came too often."""


@dataclass(frozen=True, slots=True)
class PairingAnswer:
    """A code that lets one device in."""

    url: str
    code: str
    qr_svg: str
    expires_s: float


class Pairing:
    """The code that is out now, and the devices that were let in.  Safe between threads.

    >>> pairing = Pairing()
    >>> token = pairing.claim(pairing.new_code(), "phone")
    >>> pairing.device_of(token)
    'phone'
    """

    def __init__(self, monotonic_s: Callable[[], float] = time.monotonic) -> None:
        self._monotonic_s = monotonic_s
        self._lock = threading.Lock()
        self._code: str | None = None
        self._until_s = 0.0
        self._wrong: deque[float] = deque(maxlen=TRIES)
        self._wrong_for_code = 0
        self._devices: dict[str, str] = {}

    def new_code(self) -> str:
        """Return a fresh code; the one before is worth nothing any more."""
        code = "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))
        with self._lock:
            self._code = code
            self._until_s = self._monotonic_s() + CODE_LASTS_S
            self._wrong_for_code = 0
        return code

    def claim(self, code: str, device: str) -> str:
        """Let a device in for a code, once, and return its token.

        Raises `PairingError` for a code that is wrong, used or too old, and
        `TooManyTriesError` if wrong ones came too often.
        """
        name = " ".join(device.split())
        if not (0 < len(name) <= 100 and name.isprintable()):
            raise InputError(said("give the device a name of 1 to 100 letters"), field="device")
        with self._lock:
            now_s = self._monotonic_s()
            if len(self._wrong) == TRIES and now_s - self._wrong[0] < TRIES_WITHIN_S:
                wait_s = TRIES_WITHIN_S - (now_s - self._wrong[0])
                raise TooManyTriesError(
                    said("too many wrong codes; try again in {wait_s:.0f} s", wait_s=wait_s)
                )
            if not self._is_right(code, now_s):
                self._wrong.append(now_s)
                self._wrong_for_code += 1
                if self._wrong_for_code >= MOST_WRONG:
                    self._code = None
                raise PairingError(
                    said("this code is wrong, used or too old; ask for a new one on the computer")
                )
            self._code = None
            if len(self._devices) >= MOST_DEVICES:
                del self._devices[next(iter(self._devices))]
            token = secrets.token_urlsafe(32)
            taken = set(self._devices.values())
            self._devices[token] = _distinct(name, taken)
            return token

    def device_of(self, token: str) -> str | None:
        """Return the name of the device that holds a token, ``None`` if none does."""
        with self._lock:
            return self._devices.get(token)

    def _is_right(self, code: str, now_s: float) -> bool:
        if self._code is None or now_s > self._until_s:
            return False
        given = code.strip().upper().encode()
        return hmac.compare_digest(given, self._code.encode())


def pairing_answer(base: str, code: str) -> PairingAnswer:
    """Return a code with its address, drawn too."""
    import segno

    url = f"{base}/pair?code={code}"
    drawn = io.BytesIO()
    # With its namespace: a page that takes the drawing in by itself shows nothing without.
    segno.make(url, error="m").save(
        drawn, "svg", xmldecl=False, nl=False, scale=6, border=4, dark="#000", light="#fff"
    )
    return PairingAnswer(url, code, drawn.getvalue().decode(), CODE_LASTS_S)


def _distinct(name: str, taken: set[str]) -> str:
    """Return the name, with a number behind it if another device has it.

    >>> _distinct("phone", {"phone", "phone 2"})
    'phone 3'
    """
    number, found = 1, name
    while found in taken:
        number += 1
        found = f"{name} {number}"
    return found
