"""Files that come in: a name is a label and never a path, the kind is told by the bytes, the size has a limit."""

from __future__ import annotations

import io
import tempfile
import wave
from dataclasses import dataclass, replace
from pathlib import Path

from starlette.datastructures import UploadFile

from tickover.errors import InputError, LogFileError
from tickover.logs import LogReport, read_log_report
from tickover.results import Result
from tickover.signals import Recording

MOST_NAME = 80
LARGEST_SOUND = 8 * 1024 * 1024
"""Of a sound [bytes]: 80 s at 48 kHz, 16 bit, one channel. Own choice."""
LONGEST_SOUND = 60.0
"""[s]; own choice: the recorder makes 20 s."""
_RATES = (8_000, 192_000)
_MDF = (b"MDF     ", b"UnFinMF ")


@dataclass(frozen=True)
class Upload:
    """A file that came in: what it is called, and its bytes."""

    name: str
    data: bytes

    @property
    def size(self) -> str:
        """Its size in words."""
        return size_words(len(self.data))


class Sound(Result):
    """A sound as it was kept.

    Attributes:
        seconds: how long.
        rate: samples a second [Hz].
        name: what it is called.
        sentence: that it is kept, and that nothing is worked out of it yet.
    """

    seconds: float
    rate: int
    name: str
    sentence: str


def size_words(size: int) -> str:
    """``12 MB``, ``340 kB``."""
    if size >= 1_000_000:
        return f"{size / 1e6:.1f} MB" if size < 10_000_000 else f"{size / 1e6:.0f} MB"
    return f"{max(1, round(size / 1e3))} kB" if size else "0 kB"


def plain_name(given: str | None, otherwise: str) -> str:
    """What a file calls itself, as a label: no folders, printable letters only, not long."""
    last = (given or "").replace("\\", "/").rsplit("/", 1)[-1]
    name = "".join(c for c in last if c.isprintable()).strip(" .")
    return name[-MOST_NAME:] or otherwise


async def taken(file: object, otherwise: str) -> Upload | None:
    """A file of a form; None where none was chosen.

    Args:
        file: the form's value.
        otherwise: what to call a file without a name.
    Raises: InputError for an empty one.
    """
    if not isinstance(file, UploadFile):
        return None
    data = await file.read()
    if not data and not file.filename:
        return None
    name = plain_name(file.filename, otherwise)
    if not data:
        raise InputError("this file is empty", file=name, way_out="Choose another, or record again.")
    return Upload(name, data)


def log_in(upload: Upload, *, displacement: float | None = None) -> tuple[Recording, LogReport]:
    """A short log that came in, read at once; a long one is for ``works``.

    Args:
        upload: the file.
        displacement: of the engine [l].
    Raises: LogFileError under the file's own name.
    """
    with tempfile.TemporaryDirectory(prefix="tickover-") as folder:
        path = Path(folder) / f"log.{ending_of(upload)}"
        path.write_bytes(upload.data)
        try:
            recording, report = read_log_report(path, displacement=displacement)
        except LogFileError as why:
            why.file = upload.name
            raise
    return replace(recording, source=upload.name), report.model_copy(update={"file": upload.name})


def ending_of(upload: Upload) -> str:
    """The ending that the reader goes by: asammdf looks at it, every other kind is told by its content."""
    return "mf4" if upload.data.startswith(_MDF) else "csv"


def kind_of(upload: Upload) -> str:
    """The media type that a log is kept under: ours to say, not the browser's."""
    if upload.data.startswith(_MDF):
        return "application/octet-stream"
    return "application/gpx+xml" if b"<gpx" in upload.data[:4096] else "text/csv"


def sound_in(upload: Upload) -> Sound:
    """A sound that came in, looked at: WAV, 16 bit, one channel, not too long.

    Raises: InputError for anything else.
    """
    way_out = "The page makes the right kind of file of any sound that the browser can play. Send it from there."
    if len(upload.data) > LARGEST_SOUND:
        raise InputError(
            f"a sound of {upload.size} is more than {size_words(LARGEST_SOUND)}", file=upload.name, way_out=way_out
        )
    try:
        with wave.open(io.BytesIO(upload.data)) as sound:
            channels, width, rate, frames = sound.getparams()[:4]
            held = len(sound.readframes(frames)) // max(channels * width, 1)
    except (wave.Error, EOFError, RuntimeError) as why:
        raise InputError(
            f"this is no WAV file: {why or 'it ends too soon'}", file=upload.name, way_out=way_out
        ) from None
    if (channels, width) != (1, 2) or not _RATES[0] <= rate <= _RATES[1]:
        what = f"{channels} channels of {8 * width} bits at {rate} a second"
        raise InputError(f"{what}: one channel of 16 bits is asked for", file=upload.name, way_out=way_out)
    if held != frames or not frames:
        raise InputError(f"it says {frames} samples and holds {held}", file=upload.name, way_out=way_out)
    seconds = frames / rate
    if seconds > LONGEST_SOUND:
        raise InputError(f"{seconds:.0f} s are longer than {LONGEST_SOUND:.0f} s", file=upload.name, way_out="Cut it.")
    said = f"sound of {seconds:.0f} s kept, not analysed: nothing is worked out of sounds yet"
    return Sound(seconds=round(seconds, 3), rate=rate, name=upload.name, sentence=said)
