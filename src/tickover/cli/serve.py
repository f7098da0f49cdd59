"""``tickover serve``: the web app, for this machine or for the phone on the dash."""

from __future__ import annotations

import sys
from pathlib import Path

import click
import segno

from tickover.cli.job_store import by_option, store_option
from tickover.jobs import default_store, open_store
from tickover.web import serving
from tickover.web.site import Site


@click.command("serve")
@click.option(
    "--port", type=click.IntRange(1024, 65535), default=serving.PORT, show_default=True, help="Port that it listens on."
)
@click.option("--lan", is_flag=True, help="Serve the workshop's network too: TLS, paired devices only.")
@click.option("--address", metavar="IP", help="With --lan: this machine's address, where it has several.")
@click.option("--folder", type=click.Path(path_type=Path), help="Folder with routine files of your own.")
@by_option
@store_option
def serve_command(port: int, lan: bool, address: str | None, folder: Path | None, by: str, store: str | None) -> None:
    """Serve the job record as pages, until Ctrl-C.

    Without --lan only this machine can open them. With --lan a phone scans the code that is shown here; each code is
    good once, and every device can be ended under Devices.
    """
    where = store or default_store()
    open_store(where).close()  # what is wrong with the record is said now, not on the first page
    site = Site(store=where, folder=folder, by=by)
    if not lan:
        serving.free_port(serving.LOOPBACK, port)
        local = serving.local_app(site, port)
        click.echo(f"http://{serving.LOOPBACK}:{port}  Ctrl-C ends it.")
        serving.run(local, serving.LOOPBACK, port)
        return
    host = address or serving.lan_address()
    serving.free_port(host, port)
    app, reached, certificate = serving.lan_app(site, port, host, Path(str(default_store())).parent / "tls")
    link = reached.link()
    click.echo("Scan this with the phone. It is good once, for five minutes.\n")
    segno.make(link, error="m").terminal(out=sys.stdout, compact=True)
    click.echo(f"\n{link}\n")
    click.echo(f"For a browser on this machine: {reached.link()}\n")
    click.echo(
        "The certificate was made here and nobody vouches for it, so the browser warns once. Compare its SHA-256"
    )
    click.echo(f"fingerprint before you go on:\n{certificate.fingerprint}\n\nCtrl-C ends it.")
    serving.run(app, host, port, certificate)
