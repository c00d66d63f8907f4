"""Starts the server for the page and tells where it is, on the terminal, by address and QR code."""

from __future__ import annotations

import io
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rigging.page.app import make_app
from rigging.page.connections import Patience
from rigging.page.desk import Desk
from rigging.page.gate import Gate
from shared.errors import UserError

LOCAL = "127.0.0.1"


@dataclass(frozen=True)
class Where:
    """Where to listen. lan : on the local network's address too, behind the code. address : which one, if told."""

    port: int = 8765
    lan: bool = False
    address: str | None = None


def serve(job_file: Path, where: Where, tell: Callable[[str], None]) -> None:
    """Serve the page until Ctrl-C. tell : prints a line. Raises UserError."""
    import uvicorn

    address = (where.address or lan_address()) if where.lan else LOCAL
    listening = listen_on(address, where.port)
    name = f"{address}:{listening.getsockname()[1]}"
    desk = Desk(job_file)
    try:
        hosts = frozenset({name} if where.lan else {name, name.replace(LOCAL, "localhost")})
        gate = Gate(where.lan, lambda code: tell(door(name, code)), tell)
        if not where.lan:
            tell(f"The page: http://{name}/  (this computer alone; --lan lets phones in)")
        tell(f"Photos and readings: {desk.bench.folder}. Stop with Ctrl-C; nothing is lost.")
        desk.start()
        uvicorn.Server(server_config(make_app(desk, gate, hosts))).run(sockets=[listening])
    finally:
        listening.close()
        desk.close()


def server_config(app: Any) -> Any:
    """How uvicorn is to serve the application: quiet, and patient with nobody who only holds a connection open."""
    import uvicorn

    return uvicorn.Config(
        app,
        log_level="critical",
        access_log=False,
        ws="none",
        http=Patience,
        server_header=False,
        timeout_keep_alive=15,
        timeout_graceful_shutdown=3,
        proxy_headers=False,
    )


def door(name: str, code: str) -> str:
    """What the terminal shows for one more phone: address, code, and a QR code that holds both."""
    import segno

    art = io.StringIO()
    segno.make(f"http://{name}/enter#{code}", error="m", micro=False).terminal(out=art, compact=True, border=2)
    grouped = f"{code[:5]} {code[5:]}"
    return (
        f"{art.getvalue()}\nhttp://{name}/  code {grouped}  (for one phone; the next code follows)\n"
        "The connection is not encrypted: use the shop's own network, not a public one."
    )


def lan_address() -> str:
    """This computer's address on the local network. Raises UserError where it has none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737): nothing is sent
            return str(probe.getsockname()[0])
        except OSError:
            raise UserError(
                "--lan", "this computer is on no network", "join the shop's network, or name an address with --address"
            ) from None


def listen_on(address: str, port: int) -> socket.socket:
    """A socket that listens there; port 0 takes a free one. Raises UserError."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((address, port))
        listening.listen(128)  # a phone that is faster than the start waits instead of being turned away
    except OSError as error:
        listening.close()
        raise UserError(
            f"{address}:{port}",
            f"cannot be listened on ({error.strerror})",
            "give another --port, or the right --address",
        ) from None
    return listening
