"""Serving the app: to this machine, or to the workshop's network over TLS."""

from __future__ import annotations

import ipaddress
import socket
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import uvicorn

from tickover.errors import InputError
from tickover.web.app import create_app, guarded
from tickover.web.guard import Guard
from tickover.web.one_server import OneServer
from tickover.web.pair import Lan
from tickover.web.pairing import Pairing
from tickover.web.site import Site
from tickover.web.tls import Certificate, make_certificate

PORT = 8765
LOOPBACK = "127.0.0.1"


def lan_address() -> str:
    """The address of this machine in the workshop's network.

    Raises: InputError where it has none.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address: it only asks the routing table, nothing is sent
            found = str(probe.getsockname()[0])
        except OSError:
            found = ""
    if not found or ipaddress.ip_address(found).is_loopback:
        raise InputError(
            "this machine is in no network that a phone could be in",
            way_out="Join the workshop's network, or name the address: --address 192.168.1.20.",
        )
    return found


def free_port(host: str, port: int) -> None:
    """See that nobody else listens there.

    Raises: InputError where somebody does, or where the port may not be taken.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as why:
            raise InputError(
                f"{host}:{port} cannot be listened on: {why.strerror}", way_out="Name another: --port 8766."
            ) from None


def local_app(site: Site, port: int) -> Guard:
    """The app for this machine alone: no pairing, loopback names only.

    Raises: InputError where the record is served already.
    """
    hosts = frozenset({f"{LOOPBACK}:{port}", f"localhost:{port}"})
    app = create_app(site)
    app.state.one_server = OneServer(site.store, port)
    return guarded(app, hosts=hosts, clock=time.monotonic, pairing=None, secure=False)


def lan_app(
    site: Site, port: int, address: str, folder: Path, now: Callable[[], datetime] = lambda: datetime.now(UTC)
) -> tuple[Guard, Lan, Certificate]:
    """The app for the workshop's network: paired devices only, over TLS.

    Args:
        site: the record.
        port: where it listens.
        address: this machine's address in the network.
        folder: where the certificate is kept.
        now: the time the certificate begins to hold.
    Raises: InputError where the record is served already.
    """
    held = OneServer(site.store, port)
    certificate = make_certificate(folder, (address, "localhost", LOOPBACK), now())
    lan = Lan(Pairing(), f"https://{address}:{port}", certificate.fingerprint, time.monotonic)
    hosts = frozenset({f"{address}:{port}", f"localhost:{port}", f"{LOOPBACK}:{port}"})
    app = create_app(site, lan)
    app.state.one_server = held
    guard = guarded(app, hosts=hosts, clock=time.monotonic, pairing=lan.pairing, secure=True)
    return guard, lan, certificate


def run(app: Guard, host: str, port: int, certificate: Certificate | None = None) -> None:
    """Serve until Ctrl-C; open requests are answered first."""
    uvicorn.run(
        app,
        host=host,
        port=port,
        log_level="warning",
        server_header=False,
        ssl_certfile=certificate.cert_file if certificate else None,
        ssl_keyfile=certificate.key_file if certificate else None,
        timeout_graceful_shutdown=5,
    )
