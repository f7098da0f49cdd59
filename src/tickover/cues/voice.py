"""Spoken words. The only file that knows the speech program; without it a track has its tones and says so."""

from __future__ import annotations

import io
import shutil
import subprocess
from functools import lru_cache
from math import gcd

import numpy as np
from numpy.typing import NDArray
from scipy.io import wavfile
from scipy.signal import resample_poly

from tickover.cues.render import RATE

PROGRAM = "espeak-ng"
WAY_IN = "For spoken words install the speech program: apt install espeak-ng, or its installer for your system."

_VOICE, _WORDS_A_MINUTE = "en-gb", 165
_QUIET = 0.01
_LONGEST = 60.0


class Voice:
    """Speaks words by the speech program on this machine; nothing leaves it.

    Args:
        program: path of the program.
    """

    def __init__(self, program: str) -> None:
        self._program = program
        self._spoken = lru_cache(maxsize=256)(self._make)

    def samples(self, words: str) -> NDArray[np.float64]:
        """Words as sound at ``RATE``, silence at both ends cut off; empty where the program cannot say them."""
        return self._spoken(words)

    def seconds(self, words: str) -> float:
        """How long the words take [s]."""
        return len(self._spoken(words)) / RATE

    def _make(self, words: str) -> NDArray[np.float64]:
        order = [self._program, "-v", _VOICE, "-s", str(_WORDS_A_MINUTE), "--stdin", "--stdout"]
        try:
            told = subprocess.run(order, input=words.encode(), capture_output=True, timeout=_LONGEST, check=True)
        except (OSError, subprocess.SubprocessError):
            return np.zeros(0)
        return _read(told.stdout)


def _read(content: bytes) -> NDArray[np.float64]:
    """A WAV as the program pipes it, its length in the head unknown; trimmed, at our rate."""
    start = content.find(b"data") + 8
    if start < 44:
        return np.zeros(0)
    head = content[: start - 4] + len(content[start:]).to_bytes(4, "little")
    whole = head[:4] + (len(content) - 8).to_bytes(4, "little") + head[8:] + content[start:]
    rate, raw = wavfile.read(io.BytesIO(whole))
    loud = np.flatnonzero(np.abs(raw / 32768) > _QUIET)
    if not len(loud):
        return np.zeros(0)
    cut = raw[loud[0] : loud[-1] + 1] / 32768
    shared = gcd(RATE, rate)
    return np.asarray(resample_poly(cut, RATE // shared, rate // shared), dtype=np.float64)


def find_voice() -> Voice | None:
    """The voice of this machine, or ``None`` where the speech program is not installed."""
    program = shutil.which(PROGRAM)
    return Voice(program) if program else None
