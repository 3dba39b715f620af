"""The workbench as a running server, on this computer or for phones of the network too."""

import ipaddress
import os
import signal
import socket
import threading
import webbrowser
from collections.abc import Callable
from dataclasses import dataclass, field

import uvicorn

from gaugewright.app.yard import Yard, load_numerics, use_one_thread_for_matrices
from gaugewright.errors import InputError
from gaugewright.workbench.guard import Door
from gaugewright.workbench.pairing import PairingAnswer, pairing_answer
from gaugewright.workbench.server import build_app

PORT = 8047
"""Taken if it is free and no other is asked for."""
MOST_PORT = 65535
LOOPBACK = "127.0.0.1"


@dataclass(slots=True)
class Workbench:
    """A server that is ready to run."""

    yard: Yard
    server: uvicorn.Server
    sockets: list[socket.socket]
    url: str
    pairing: PairingAnswer | None
    """The code for the first phone, if phones are let in."""
    load_rest: Callable[[], object] = lambda: None
    """Loads what the first page does not need."""
    _thread: threading.Thread | None = field(default=None)

    def run(self, *, when_ready: Callable[[], None] = lambda: None) -> None:
        """Serve until Ctrl-C or a request to end, then close the yard."""

        def told() -> None:
            if self.wait_until_ready(20.0):
                when_ready()
                self.warm()

        threading.Thread(target=told, daemon=True).start()
        if threading.current_thread() is threading.main_thread():
            # The server passes the signal on once it has closed; then the yard closes too.
            signal.signal(signal.SIGTERM, signal.default_int_handler)
        try:
            self.server.run(sockets=self.sockets)
        except KeyboardInterrupt:
            pass  # that is how a person ends it, after the server has closed
        finally:
            self.yard.close()

    def start(self) -> "Workbench":
        """Serve in a thread; for tests and benchmarks."""
        self._thread = threading.Thread(
            target=self.server.run, kwargs={"sockets": self.sockets}, daemon=True
        )
        self._thread.start()
        if not self.wait_until_ready(20.0):
            raise InputError("the server did not start")
        return self

    def warm(self) -> None:
        """Load the other pages and the numerics, once the first page is there or seems unwanted."""
        pause = threading.Event()
        seen = 0
        for _ in range(20):
            asked = self.server.server_state.total_requests
            if self.server.should_exit:
                return
            if asked and asked == seen:
                break  # the page has its style sheets and scripts by now
            seen = asked
            pause.wait(0.1)
        self.load_rest()
        load_numerics()

    def wait_until_ready(self, timeout_s: float) -> bool:
        """Wait until requests are answered; tell whether they are."""
        waited = threading.Event()
        for _ in range(int(timeout_s / 0.01)):
            if self.server.started:
                return True
            waited.wait(0.01)
        return False

    def stop(self) -> None:
        """End the streams, then the server, then close the yard."""
        self.server.should_exit = True
        if self._thread is not None:
            self._thread.join(10.0)
        self.yard.close()


def prepare(yard: Yard, *, port: int | None = None, lan: bool = False) -> Workbench:
    """Return a server for a yard, its port taken but nothing answered yet.

    From here on linear algebra runs on one thread: the matrices of a fill are so small that
    threads which wait for each other make a verdict several times slower.
    Raises `InputError` if the port cannot be had.
    """
    use_one_thread_for_matrices()
    host = "0.0.0.0" if lan else LOOPBACK
    listening = _listen(host, port)
    taken = listening.getsockname()[1]
    door = Door()
    lan_url = None
    if lan:
        address = lan_address()
        door.hosts = door.hosts | {address}
        lan_url = f"http://{address}:{taken}"
    bench = Workbench(
        yard,
        uvicorn.Server(_config()),
        [listening],
        f"http://{LOOPBACK}:{taken}/",
        None if lan_url is None else pairing_answer(lan_url, door.pairing.new_code()),
    )
    app = build_app(yard, door=door, lan_url=lan_url, is_closing=lambda: bench.server.should_exit)
    bench.server.config.app = app
    bench.load_rest = app.state.inside.load
    return bench


def open_browser(url: str) -> None:
    """Show an address in the person's browser, if there is one."""
    webbrowser.open(url)


def lan_address() -> str:
    """Return this computer's address in the local network.

    Raises `InputError` if it is in none.  Nothing is sent: connecting a datagram socket
    only asks the system which way it would go.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(("192.0.2.1", 9))  # an address that is nobody's, RFC 5737
            found = str(asking.getsockname()[0])
        except OSError:
            found = LOOPBACK
    if ipaddress.ip_address(found).is_loopback:
        raise InputError("this computer is in no network; connect it and start again")
    return found


def _config() -> uvicorn.Config:
    async def not_ready(*_: object) -> None:
        raise RuntimeError("the application is set before the server runs")

    return uvicorn.Config(
        not_ready,
        log_level="warning",
        access_log=False,
        # An open stream would keep the server alive for ever.
        timeout_graceful_shutdown=1,
        # Longer than clients keep an idle line: else one may write to it as it is closed here.
        timeout_keep_alive=75,
        # Who asks is who is connected, whatever a header says.
        proxy_headers=False,
        server_header=False,
        ws="none",
        lifespan="off",
        h11_max_incomplete_event_size=32_768,
    )


def _bound(host: str, port: int) -> socket.socket:
    # Named as TCP, so that answers are sent at once: else each waits 40 ms for the client.
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if os.name == "posix":  # elsewhere it would let two programs have one port
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((host, port))
        made.listen(128)
    except OSError:
        made.close()
        raise
    return made


def require_port(port: int | None) -> None:
    """Refuse a port that no computer has, before anything is opened for it."""
    if port is not None and not 0 <= port <= MOST_PORT:
        raise InputError(f"must be 0 to {MOST_PORT}, found {port}", field="port")


def _listen(host: str, port: int | None) -> socket.socket:
    require_port(port)
    wanted = (PORT, 0) if port is None else (port,)
    trouble: OSError | None = None
    for each in wanted:
        try:
            return _bound(host, each)
        except OSError as error:
            trouble = error
    why = "" if trouble is None else trouble.strerror or str(trouble)
    raise InputError(f"port {port} cannot be had: {why}", field="port")
