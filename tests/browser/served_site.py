"""A served record on a port of its own, for a real browser."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import uvicorn

from tickover.web.app import create_app, guarded
from tickover.web.pair import Lan
from tickover.web.site import Site


@contextmanager
def served(site: Site, lan: Lan | None = None) -> Iterator[str]:
    """Serve it behind its guard until the block ends; gives its address. With ``lan`` it has pairing's pages."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    host = f"127.0.0.1:{port}"
    app = guarded(create_app(site, lan), hosts=frozenset({host}), clock=time.monotonic, pairing=None, secure=False)
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="warning", ws="none"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield f"http://{host}"
    server.should_exit = True
    thread.join(10)
