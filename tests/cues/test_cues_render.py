"""The sound itself: onsets found by a detector that does not know the plan, pitches, levels, edges, files."""

import wave

import numpy as np
import pytest

from tickover.cues.render import samples, sound, write_wav
from tickover.cues.sounds import RECIPES
from tickover.cues.track import Cue, Part, cue_track
from tickover.cues.voice import find_voice
from tickover.errors import InputError
from tickover.routines import compile_routine, load_library
from tickover.routines.aiming import aims_for

RATE = 48_000
LIBRARY = load_library()
HALF_AN_HOUR = 400.0


def track_of(name, speak=None):
    routine = compile_routine(LIBRARY[name])
    return cue_track(routine, aims=aims_for(routine, "sound file"), speak=speak)


def read(path):
    with wave.open(str(path)) as file:
        assert (file.getframerate(), file.getsampwidth(), file.getnchannels()) == (RATE, 2, 1)
        return np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32767


def onsets_in(heard):
    """Where loud sounds begin: the peak over 1 ms rises through −21 dBFS after 6 ms below it. Knows no plan."""
    n = RATE // 1000
    peaks = np.abs(heard[: len(heard) // n * n]).reshape(-1, n).max(axis=1)
    loud = peaks > 10 ** (-21 / 20)
    quiet_for = np.zeros(len(loud), int)
    for k in range(1, len(loud)):
        quiet_for[k] = 0 if loud[k - 1] else quiet_for[k - 1] + 1
    return np.flatnonzero(loud & (quiet_for >= 6)) / 1000


@pytest.mark.parametrize("name", [n for n in LIBRARY if max(p.length for p in track_of(n).parts) < HALF_AN_HOUR])
def test_onsets_in_the_file_lie_within_5_ms_of_plan(name, tmp_path):
    errors = []
    for part in track_of(name).parts:
        write_wav(tmp_path / "part.wav", part)
        found = onsets_in(read(tmp_path / "part.wav"))
        front = [c for c in part.cues if c.sound not in {"hold", "tick", "upbeat"}]
        plan = np.array([c.at for c in front])
        errors += [float(np.abs(found - at).min()) for at in plan]
        # Each onset found is a planned one, or a later note of a planned sound.
        notes = np.array([c.at + n.start for c in front for n in RECIPES[c.sound].notes])
        assert all(np.abs(notes - t).min() < 0.005 for t in found)
    assert np.percentile(errors, 99) < 0.005


def test_random_schedules_sound_where_they_should(tmp_path):
    rng = np.random.default_rng(7)
    names = ["pip", "press", "let up", "key on", "key off", "start", "other act", "look out", "stop", "done"]
    errors = []
    for _ in range(20):
        ats = np.cumsum(rng.uniform(0.5, 1.5, 20))
        cues = tuple(
            Cue(at=float(at), sound=str(s), length=RECIPES[str(s)].length)
            for at, s in zip(ats, rng.choice(names, 20), strict=True)
        )
        part = Part(number=1, begins="a", when="to begin", zero=0.0, length=float(ats[-1] + 2), cues=cues)
        write_wav(tmp_path / "part.wav", part)
        found = onsets_in(read(tmp_path / "part.wav"))
        errors += [float(np.abs(found - c.at).min()) for c in cues]
    assert np.percentile(errors, 99) < 0.005


# Written down again from the look, so that the table in the code is measured against it.
LOOK = {
    "pip": (-12, 0.06, [784]),
    "upbeat": (-18, 0.04, [784]),
    "key on": (-6, 0.16, [587, 880]),
    "key off": (-6, 0.16, [880, 587]),
    "start": (-6, 0.24, [587, 740, 880]),
    "tick": (-24, 0.015, [1046]),
    "stop": (-6, 0.21, [523, 523]),
    "done": (-9, 0.4, [587, 880]),
    "look out": (-12, 0.21, [1397, 1397]),
    "other act": (-6, 0.16, [988]),
}


def pitch(made):
    spectrum = np.abs(np.fft.rfft(made * np.hanning(len(made)), 1 << 17))
    return np.argmax(spectrum) * RATE / (1 << 17)


@pytest.mark.parametrize("name", list(LOOK))
def test_pitch_level_and_length_are_those_of_the_table(name):
    level, length, pitches = LOOK[name]
    made = sound(Cue(at=0, sound=name, length=RECIPES[name].length))
    assert len(made) == pytest.approx(length * RATE, abs=2)
    assert 20 * np.log10(np.abs(made).max()) == pytest.approx(level, abs=0.2)
    for note, hertz in zip(RECIPES[name].notes, pitches, strict=True):
        piece = made[round(note.start * RATE) : round((note.start + note.length) * RATE)]
        assert pitch(piece) == pytest.approx(hertz, abs=3 if note.length > 0.02 else 12)


@pytest.mark.parametrize(("name", "first", "last"), [("press", 784, 1175), ("let up", 784, 523)])
def test_a_press_rises_and_a_let_up_falls(name, first, last):
    made = sound(Cue(at=0, sound=name, length=0.14))
    turn = np.flatnonzero((made[:-1] < 0) & (made[1:] >= 0)) / RATE
    speeds = 1 / np.diff(turn)
    assert speeds[:3].mean() == pytest.approx(first, rel=0.03)
    assert speeds[-3:].mean() == pytest.approx(last, rel=0.03)
    assert 20 * np.log10(np.abs(made).max()) == pytest.approx(-6, abs=0.2)


def test_a_hold_has_its_octave_and_lasts_as_long_as_it_is_told():
    made = sound(Cue(at=0, sound="hold", length=3.0))
    assert len(made) == 3 * RATE
    assert 20 * np.log10(np.abs(made).max()) == pytest.approx(-26, abs=0.2)
    spectrum = np.abs(np.fft.rfft(made))
    assert set((np.argsort(spectrum)[-2:] / 3).round()) == {523, 1046}


@pytest.mark.parametrize("name", [n for n in RECIPES if n != "hold"])
def test_edges_are_5_ms_raised_cosines(name):
    made = sound(Cue(at=0, sound=name, length=RECIPES[name].length)) / RECIPES[name].peak
    assert made[0] == 0
    k = np.arange(240)
    assert np.all(np.abs(made[:240]) <= 0.5 - 0.5 * np.cos(np.pi * k / 240) + 1e-9)
    # It reaches more than nine tenths within 5 ms and a period: the edge is not longer.
    assert np.abs(made[240:360]).max() > 0.9


def test_no_two_sounds_are_alike():
    shapes = {n: tuple((x.start, x.f0, x.f1) for x in r.notes) for n, r in RECIPES.items() if n not in {"upbeat"}}
    assert len(set(shapes.values())) == len(shapes)


def test_nothing_clips_and_blocks_join_without_a_seam():
    part = track_of("pedal-hold").parts[0]
    whole = samples(part)
    assert np.abs(whole).max() < 1
    seam = 10 * RATE
    assert np.abs(np.diff(whole[seam - 50 : seam + 50])).max() < 0.01


def test_sounds_that_would_clip_are_refused():
    cues = tuple(Cue(at=1.0, sound="press", length=0.14) for _ in range(3))
    with pytest.raises(AssertionError):
        samples(Part(number=1, begins="a", when="to begin", zero=0, length=2, cues=cues))


def test_a_file_that_cannot_be_written_is_said(tmp_path):
    part = track_of("pedal-hold").parts[0]
    with pytest.raises(InputError, match="--out"):
        write_wav(tmp_path / "none" / "part.wav", part)


def test_spoken_words_sound_where_planned_and_nowhere_else():
    voice = find_voice()
    if voice is None:
        pytest.skip("the speech program espeak-ng is not installed")
    spoken = track_of("pedal-hold", voice.seconds).parts[0]
    assert any(c.sound == "words" for c in spoken.cues)
    with_words, without = samples(spoken, voice.samples), samples(spoken)
    differs = np.flatnonzero(np.abs(with_words - without) > 1e-9) / RATE
    spans = [(c.at, c.at + c.length) for c in spoken.cues if c.sound == "words"]
    assert len(differs)
    assert all(any(a - 0.001 <= t <= b + 0.001 for a, b in spans) for t in differs[::500])
    assert np.abs(with_words).max() < 1
