"""Serves the bench from this machine: one process for the pages, one beside it that judges."""

import contextlib
import os
import secrets
import socket
import subprocess
import sys
import threading
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

from evenhand.records._refusals import RecordError
from evenhand.records.database import data_folder

_LOOPBACK = ("127.0.0.1", "localhost", "::1")
_STOP_S = 3

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Place:
    """Where the bench is to be found.

    Attributes
    ----------
    host
        The address to listen on; 0.0.0.0 for every address of this machine.
    port
        0 for any that is free.
    names
        Further names by which people will ask for it, such as one that the shop's router gives.
    tls
        Whether to speak https, with a certificate of the shop's own.
    """

    host: str = "127.0.0.1"
    port: int = 8000
    names: tuple[str, ...] = ()
    tls: bool = False

    @property
    def is_open(self) -> bool:
        """Whether other machines can reach it."""
        return self.host not in _LOOPBACK


def serve(place: Place, *, say: Say = print, judge: bool = True) -> None:
    """Serve until somebody stops it (Ctrl-C).

    Parameters
    ----------
    place
        Where to listen.
    say
        Gets each line for the terminal.
    judge
        Whether to start the process that judges.

    Raises
    ------
    RecordError
        When the port is taken, the address is not this machine's, or the records cannot be opened.
    """
    listening = _listen(place)
    port = listening.getsockname()[1]
    folder = data_folder(os.environ)
    addresses = _addresses(place)
    os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
    os.environ["EVENHAND_SECRET_KEY"] = secret_key(folder)
    os.environ["EVENHAND_HOSTS"] = ",".join([*_LOOPBACK[:2], "[::1]", *addresses, *place.names])
    os.environ["EVENHAND_TLS"] = "1" if place.tls else "0"

    from evenhand.records.opening import open_records

    for warning in open_records():
        say(f"Warning: {warning}")
    certificate: tuple[Path, Path] | None = None
    if place.tls:
        from evenhand.bench.certificate import own_certificate

        certificate = own_certificate(folder, (*_LOOPBACK, *addresses, *place.names))
    _greet(place, port, addresses, say)
    _run(listening, certificate, judge, say)


def secret_key(folder: Path) -> str:
    """Return the key that signs sessions: read from the data folder, made there the first time.

    Raises
    ------
    RecordError
        When it can neither be read nor written.
    """
    place = folder / "web.key"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with contextlib.suppress(FileExistsError):
            handle = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "w") as file:
                file.write(secrets.token_urlsafe(48))
        found = place.read_text().strip()
    except OSError as error:
        raise RecordError(f"{place}: the key for log-ins cannot be kept there ({error.strerror}).") from error
    if len(found) < 32:
        raise RecordError(f"{place}: this is no key for log-ins; delete the file, and a new one is made.")
    return found


def _listen(place: Place) -> socket.socket:
    family = socket.AF_INET6 if ":" in place.host else socket.AF_INET
    # The protocol is named so that the server switches off Nagle's algorithm: each answer would wait 40 ms otherwise.
    listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((place.host, place.port))
    except OSError as error:
        listening.close()
        raise RecordError(
            f"The bench cannot listen on {place.host}, port {place.port} ({(error.strerror or str(error)).lower()}); "
            "name another with --port or --host."
        ) from error
    listening.listen(128)
    listening.set_inheritable(True)
    return listening


def _addresses(place: Place) -> list[str]:
    """Return the addresses and names by which other machines reach this one; none on loopback."""
    if not place.is_open:
        return []
    if place.host not in ("0.0.0.0", "::"):
        return [f"[{place.host}]" if ":" in place.host else place.host]
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, contextlib.suppress(OSError):
        probe.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737); a datagram socket sends nothing here
        found.append(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        found += [str(entry[4][0]) for entry in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    name = socket.gethostname().lower()
    found = [address for address in dict.fromkeys(found) if not address.startswith("127.")]
    return [*found, name, f"{name}.local"]


def _greet(place: Place, port: int, addresses: list[str], say: Say) -> None:
    """Say where the bench is, what that means, and show a QR code for the phones in the room."""
    from evenhand.bench.models import Account
    from evenhand.bench.start.code import first_code

    scheme = "https" if place.tls else "http"
    here = f"{scheme}://{'localhost' if place.host in ('0.0.0.0', '::') else place.host}:{port}/"
    say(f"Evenhand's bench is open at {here}")
    if not Account.objects.exists():
        say(f"First run: nobody can log in yet. Open {here}start/?code={first_code()} to begin.")
    if not place.is_open:
        say("Only this machine can reach it. For the phones in the room: evenhand serve --host 0.0.0.0")
    else:
        room = f"{scheme}://{addresses[0] if addresses else place.host}:{port}/"
        say(f"In the room: {room}")
        import segno

        for line in _drawn(segno.make(room.upper(), error="m", micro=False)):
            say(line)
        say("Every machine on this network can reach the log-in page.")
        if not place.tls:
            say(
                "It speaks plain http: whoever listens on the wifi can read sheets, names and passwords. Use a network "
                "of the shop's own, or --tls."
            )
    say("Stop with Ctrl-C.")


def _drawn(code: object) -> list[str]:
    """Draw a QR code in half blocks, two rows a line, with its quiet zone."""
    rows = [[bool(cell) for cell in row] for row in code.matrix_iter(border=4)]  # type: ignore[attr-defined]
    if len(rows) % 2:
        rows.append([False] * len(rows[0]))
    signs = {(False, False): "█", (False, True): "▀", (True, False): "▄", (True, True): " "}
    pairs = zip(rows[::2], rows[1::2], strict=True)
    return ["".join(signs[cell] for cell in zip(upper, lower, strict=True)) for upper, lower in pairs]


def _run(listening: socket.socket, certificate: tuple[Path, Path] | None, judge: bool, say: Say) -> None:
    import uvicorn

    from evenhand.bench.hub import HUB

    class Server(uvicorn.Server):
        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            HUB.close()  # open streams would hold the server until its patience ends
            super().handle_exit(sig, frame)

    # Files are small and sent whole; the server's warning about that would only puzzle.
    warnings.filterwarnings("ignore", message="StreamingHttpResponse must consume synchronous iterators")
    config = uvicorn.Config(
        "evenhand.bench.asgi:application",
        log_level="warning",
        lifespan="off",
        server_header=False,
        proxy_headers=False,  # an address counts as the socket tells it
        timeout_keep_alive=60,  # a taster thinks for longer than the usual five seconds
        timeout_graceful_shutdown=_STOP_S,
        ssl_certfile=certificate[0] if certificate else None,
        ssl_keyfile=certificate[1] if certificate else None,
    )
    with contextlib.suppress(KeyboardInterrupt), _judging(say) if judge else contextlib.nullcontext():
        Server(config).run(sockets=[listening])  # hands Ctrl-C on once it has stopped


@contextlib.contextmanager
def _judging(say: Say) -> Iterator[None]:
    """Keep a process at hand that judges, so that no page waits for a fit; start it again if it falls over."""
    from evenhand.bench.hub import HUB

    stopped = threading.Event()
    running: list[subprocess.Popen[str]] = []

    def watch() -> None:
        pause = 1.0
        while not stopped.is_set():
            process = subprocess.Popen(
                [sys.executable, "-m", "evenhand.bench.judging"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
                start_new_session=True,  # Ctrl-C is for the server; this one ends when the server lets go of it
            )
            running[:] = [process]
            assert process.stdout is not None
            for line in process.stdout:  # each line is a topic
                pause = 1.0
                HUB.publish(line.strip())
            process.wait()
            if not stopped.is_set():
                say(f"The process that judges ended; it starts again in {pause:.0f} s.")
                stopped.wait(pause)
                pause = min(60.0, 2 * pause)

    thread = threading.Thread(target=watch, name="judging", daemon=True)
    thread.start()
    try:
        yield
    finally:
        stopped.set()
        for process in running:
            process.terminate()
        thread.join(_STOP_S)
