"""Files larger than the memory there is: refused with both figures, never a crash."""

import os
import re
import resource
import subprocess
import sys

import pytest

from tickover.errors import LogFileError
from tickover.logs import memory, read_log, reader
from tickover.logs.memory import available_memory, refuse_too_large, text_needs

linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="limits and /proc are those of Linux")

SHAPES = {
    "wide": ("t,rpm,coolant,stft,load\n", lambda i: f"{i / 10:.1f},70{i % 10}.25,88,-1.56,25.1\n"),
    "gaps": ("t,rpm,coolant,stft,ltft,load,iat,map\n", lambda i: f"{i},700,,,,1,,\n"),
    "clock": ("time,rpm\n", lambda i: f"{i // 3600 % 24:02d}:{i // 60 % 60:02d}:{i % 60:02d},70{i % 7}\n"),
    "long": ("time,signal,value\n", lambda i: f"{i // 2},{'map' if i % 2 else 'rpm'},7{i % 9}\n"),
    "broken": ("t,rpm\n", lambda i: f"{i},70{i % 7}\n" if i % 9 < 5 else "1\n"),
    "blank": ("t,rpm\n", lambda i: f"{i},70{i % 7}\n" if i < 1000 else "\n"),
}
_CHILD = """
import resource, sys
from tickover.logs import read_log
from tickover.errors import LogFileError
def peak(): return next(int(x.split()[1]) for x in open("/proc/self/status") if x.startswith("VmHWM")) * 1024
read_log(sys.argv[2])
before = peak()
read_log(sys.argv[1])
print(peak() - before)
"""


def write(path, shape, lines):
    head, line = SHAPES[shape]
    path.write_text(head + "".join(map(line, range(lines))), encoding="utf-8")
    return path


@linux
@pytest.mark.parametrize(
    "shape", [s if s in ("long", "broken") else pytest.param(s, marks=pytest.mark.soak) for s in SHAPES]
)
def test_the_estimate_is_above_what_reading_takes(tmp_path, shape):
    big, small = write(tmp_path / "big.csv", shape, 150_000), write(tmp_path / "small.csv", "wide", 200)
    done = subprocess.run(
        [sys.executable, "-c", _CHILD, str(big), str(small)], capture_output=True, text=True, check=True
    )
    data = big.read_bytes()
    need = text_needs(data, own=False) + memory.BROKEN * data.count(b"\n1\n")
    assert int(done.stdout) < need
    assert need < 400 * len(data)


def limited(megabytes, *args):
    """The command in a child that may not take more address space than that."""

    def limit():
        resource.setrlimit(resource.RLIMIT_AS, (megabytes * 2**20, megabytes * 2**20))

    code = "import sys; from tickover.cli import main; main(sys.argv[1:])"
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, args)], capture_output=True, text=True, preexec_fn=limit, check=False
    )


@linux
@pytest.mark.parametrize("megabytes", [500, 1100, 6000])
def test_under_a_limit_a_log_is_read_or_refused_in_one_line(tmp_path, megabytes):
    log = write(tmp_path / "log.csv", "wide", 400_000)
    done = limited(megabytes, "idle", log)
    if megabytes == 6000:
        assert (done.returncode, done.stderr) == (0, "")
        return
    assert (done.returncode, done.stdout) == (2, ""), done.stderr
    assert "Traceback" not in done.stderr
    if megabytes >= 900:  # below, a library may add a warning that it could not be loaded
        assert done.stderr.count("\n") == 1
        figures = re.search(r"needs? about (\d+) MB of memory, (\d+) MB are free", done.stderr)
        assert figures is not None, done.stderr
        assert int(figures[1]) >= int(figures[2])
        assert "Cut the log up" in done.stderr


def test_larger_than_memory_is_refused_with_both_figures():
    with pytest.raises(LogFileError, match="would need about 5,000 MB of memory, 2,000 MB are free") as error:
        refuse_too_large(5_000_000_000, "big.csv", 2_000_000_000, "1,000 MB")
    assert "Cut" in error.value.way_out
    refuse_too_large(5_000_000_000, "big.csv", 5_000_000_000, "1,000 MB")
    refuse_too_large(5_000_000_000, "big.csv", None, "1,000 MB")


def test_the_least_of_all_limits_counts(tmp_path, monkeypatch):
    monkeypatch.setattr(memory, "_PROC", tmp_path / "proc")
    monkeypatch.setattr(memory, "_CGROUP", tmp_path / "cgroup")
    (tmp_path / "proc" / "self").mkdir(parents=True)
    (tmp_path / "cgroup" / "a" / "b").mkdir(parents=True)
    assert available_memory() is None  # a system that does not say
    (tmp_path / "proc" / "meminfo").write_text("MemTotal: 9 kB\nMemAvailable:   2000000 kB\n")
    assert available_memory() == 2_048_000_000
    (tmp_path / "proc" / "self" / "cgroup").write_text("0::/a/b\n")
    (tmp_path / "cgroup" / "a" / "memory.max").write_text("700\n")
    (tmp_path / "cgroup" / "a" / "memory.current").write_text("200\n")
    (tmp_path / "cgroup" / "a" / "b" / "memory.max").write_text("max\n")
    assert available_memory() == 500  # the group above has the tighter limit
    (tmp_path / "cgroup" / "a" / "memory.current").write_text("900\n")
    assert available_memory() == 0


def test_a_file_grown_beyond_memory_is_sparse_and_never_opened(tmp_path):
    path = tmp_path / "huge.csv"
    with path.open("wb") as stream:
        stream.write(b"t,rpm\n")
        os.truncate(stream.fileno(), 10**13)
    with pytest.raises(LogFileError, match="MB are free"):
        read_log(path)


def test_memory_that_runs_out_all_the_same_is_one_message(tmp_path, monkeypatch):
    def runs_out(_path):
        raise MemoryError

    monkeypatch.setattr(reader, "open_log", runs_out)
    with pytest.raises(LogFileError, match="does not fit into the memory"):
        read_log(write(tmp_path / "log.csv", "wide", 10))
