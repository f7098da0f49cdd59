"""Both kinds of store. PostgreSQL is a real server: TICKOVER_TEST_POSTGRES names one, else one is started here."""

import itertools
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from tickover.jobs import Store, open_store

_numbers = itertools.count()


def _binaries() -> Path | None:
    there = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    on_path = shutil.which("initdb")
    return there[-1].parent if there else Path(on_path).parent if on_path else None


def _servant() -> str | None:
    """Whom the server runs as: it refuses to run as root."""
    if os.getuid() != 0:
        return None
    users = {line.split(":")[0] for line in Path("/etc/passwd").read_text().splitlines()}
    return next((u for u in ("postgres", "nobody") if u in users), None)


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """The address of a server that answers, or a skip that says why there is none."""
    given = os.environ.get("TICKOVER_TEST_POSTGRES")
    if given:
        yield given
        return
    pytest.importorskip("psycopg", reason="psycopg is not installed")
    binaries = _binaries()
    if binaries is None:
        pytest.skip("no PostgreSQL here: install it, or name a server in TICKOVER_TEST_POSTGRES")
    servant = _servant()
    if os.getuid() == 0 and servant is None:
        pytest.skip("PostgreSQL does not run as root, and there is no user postgres or nobody")
    folder = Path(tempfile.mkdtemp(prefix="tickover-pg-"))
    who = {} if servant is None else {"user": servant, "group": _group_of(servant), "extra_groups": []}
    if servant is not None:
        shutil.chown(folder, servant)

    def run(*command: str) -> None:
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False, **who)
        if done.returncode:
            log = folder / "log"
            pytest.skip(f"PostgreSQL does not start: {done.stderr} {log.read_text() if log.exists() else ''}")

    data = folder / "data"
    run(str(binaries / "initdb"), "-D", str(data), "-U", "tickover", "-A", "trust", "-E", "UTF8", "--no-sync")
    options = (
        f"-c listen_addresses= -c unix_socket_directories={folder} -c fsync=off"  # the machine is not switched off
    )
    run(str(binaries / "pg_ctl"), "-D", str(data), "-w", "-l", str(folder / "log"), "-o", options, "start")
    yield f"postgresql+psycopg://tickover@/postgres?host={folder}"
    subprocess.run(
        [str(binaries / "pg_ctl"), "-D", str(data), "-m", "immediate", "stop"],
        cwd=folder, capture_output=True, check=True, **who,
    )  # fmt: skip
    shutil.rmtree(folder)


def _group_of(user: str) -> int:
    line = next(x for x in Path("/etc/passwd").read_text().splitlines() if x.startswith(f"{user}:"))
    return int(line.split(":")[3])


@pytest.fixture
def postgres(postgres_server: str) -> Iterator[str]:
    """An address with a schema of its own, empty."""
    name = f"t{os.getpid()}_{next(_numbers)}"
    engine = create_engine(postgres_server, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE SCHEMA {name}"))
    joint = "&" if "?" in postgres_server else "?"
    yield f"{postgres_server}{joint}options=-csearch_path%3D{name}"
    with engine.connect() as connection:
        connection.execute(text(f"DROP SCHEMA {name} CASCADE"))
    engine.dispose()


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a store may be: a file that is not there yet, or an empty schema on a server."""
    if request.param == "sqlite":
        return str(tmp_path / "jobs.db")
    return str(request.getfixturevalue("postgres"))


@pytest.fixture
def store(where: str) -> Iterator[Store]:
    """An empty store of either kind."""
    with open_store(where) as held:
        yield held
