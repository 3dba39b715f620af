"""The rig on real lines: text on a pseudo-terminal, Modbus on another, Modbus TCP.

Every line has its own thread and closes with `close`.  Pseudo-terminals exist on Linux
and macOS.
"""

import contextlib
import os
import select
import socket
import struct
import threading
import time
from collections.abc import Callable
from typing import Protocol, Self

from gaugewright.errors import FrameError, InputError, SourceError
from gaugewright.instruments.modbus_frames import (
    RTU_REQUEST_BYTES,
    answer,
    rtu_frame,
    rtu_request,
    tcp_frame,
)
from gaugewright.instruments.rig import Rig, RigFault, RigSample, rig_line

STOP_S = 0.05
"""How soon a thread notices that it must stop. [s]"""


class RigLine(Protocol):
    """A line on which the rig is heard."""

    def take(self, sample: RigSample) -> None:
        """Take the newest sample."""

    def close(self) -> None:
        """Take the line down."""


class RunningRig:
    """Lets the rig's time pass at a speed and hands each sample to every line."""

    def __init__(self, rig: Rig, speed: float = 1.0) -> None:
        if not speed > 0:
            raise InputError(f"must be above 0, found {speed:g}", field="speed")
        self.rig = rig
        self._speed = speed
        self._lines: list[RigLine] = []
        self.error: BaseException | None = None
        """Why time stands still, if it does."""
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="rig", daemon=True)

    def add(self, line: RigLine) -> None:
        """Let this line be heard."""
        self._lines.append(line)

    def __enter__(self) -> Self:
        """Let time pass."""
        self._thread.start()
        return self

    def __exit__(self, *exc_info: object) -> None:
        """Stop, then take the lines down."""
        self._stop.set()
        self._thread.join()
        self.close_lines()

    def close_lines(self) -> None:
        """Take the lines down; for a rig that was never started."""
        for line in self._lines:
            line.close()

    def _run(self) -> None:
        try:
            self._let_time_pass()
        except BaseException as error:  # noqa: BLE001 - kept and shown by who gives orders
            self.error = error

    def _let_time_pass(self) -> None:
        then_s = time.monotonic()
        while not self._stop.wait(min(STOP_S, 1 / (self.rig.settings.hz * self._speed))):
            now_s = time.monotonic()
            for sample in self.rig.advance((now_s - then_s) * self._speed):
                for line in self._lines:
                    line.take(sample)
            then_s = now_s


class _Terminal:
    """A pseudo-terminal: the far end is ours, the near one has a name to open."""

    def __init__(self) -> None:
        try:
            import tty

            self.far, self._near = os.openpty()
        except (ImportError, AttributeError, OSError) as error:
            raise SourceError(
                f"this system gives no pseudo-terminal ({error}); use --modbus-tcp"
            ) from error
        tty.setraw(self._near)
        os.set_blocking(self.far, False)
        self.path = os.ttyname(self._near)

    def write(self, data: bytes) -> None:
        """Write; what nobody reads is thrown away, as on a wire."""
        import termios

        try:
            written = os.write(self.far, data)
        except BlockingIOError:
            written = 0
        if written < len(data):
            termios.tcflush(self._near, termios.TCIFLUSH)

    def close(self) -> None:
        os.close(self.far)
        # Held open until now, or the far end would fail while nobody listens.
        os.close(self._near)


class SerialTextLine:
    """Lines of text on a pseudo-terminal, one for each sample; see `rig.rig_line`."""

    def __init__(self) -> None:
        self._terminal = _Terminal()
        self.path = self._terminal.path
        """What to open to listen."""

    def take(self, sample: RigSample) -> None:
        """Send the sample's line."""
        if line := rig_line(sample):
            self._terminal.write(line)

    def close(self) -> None:
        """Take the line down."""
        self._terminal.close()


class _Registers:
    """The rig's newest sample as Modbus registers, the same for holding and input.

    0: counts; 1: temperature in tenths of °C, signed; 2 and 3: counts as a float, high
    word first.
    """

    def __init__(self) -> None:
        self._sample: RigSample | None = None

    def take(self, sample: RigSample) -> None:
        self._sample = sample

    def spoiled(self, request: bytes, frame: Callable[[bytes], bytes]) -> bytes:
        """Return the framed answer as the rig's fault lets it through."""
        sample = self._sample
        if sample is None or sample.fault is RigFault.SILENT:
            return b""
        whole = frame(answer(request, self._words(sample)))
        if sample.fault is RigFault.GARBAGE:
            return bytes(byte ^ 0x55 for byte in whole)
        return whole[: len(whole) // 2] if sample.fault is RigFault.HALF_LINE else whole

    @staticmethod
    def _words(sample: RigSample) -> dict[int, int]:
        high, low = struct.unpack(">HH", struct.pack(">f", sample.counts))
        tenths = round(sample.temperature_c * 10) & 0xFFFF
        return {0: sample.counts & 0xFFFF, 1: tenths, 2: high, 3: low}


class ModbusRtuLine:
    """A Modbus device on a pseudo-terminal."""

    def __init__(self, device_id: int = 1) -> None:
        self._terminal = _Terminal()
        self.path = self._terminal.path
        """What to open to ask."""
        self._device_id = device_id
        self._registers = _Registers()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="rig modbus rtu", daemon=True)
        self._thread.start()

    def take(self, sample: RigSample) -> None:
        """Answer with this sample from now on."""
        self._registers.take(sample)

    def close(self) -> None:
        """Take the line down."""
        self._stop.set()
        self._thread.join()
        self._terminal.close()

    def _run(self) -> None:
        heard = b""
        while not self._stop.is_set():
            ready, _, _ = select.select([self._terminal.far], [], [], STOP_S)
            if not ready:
                heard = b""  # a pause ends a frame
                continue
            with contextlib.suppress(BlockingIOError):
                heard += os.read(self._terminal.far, 256)
            while len(heard) >= RTU_REQUEST_BYTES:
                heard = self._answer(heard)

    def _answer(self, heard: bytes) -> bytes:
        """Answer the request at the front and return what follows it."""
        try:
            device, request = rtu_request(heard[:RTU_REQUEST_BYTES])
        except FrameError:
            return heard[1:]  # noise before a frame
        if device == self._device_id:
            self._terminal.write(
                self._registers.spoiled(request, lambda body: rtu_frame(device, body))
            )
        return heard[RTU_REQUEST_BYTES:]


class ModbusTcpLine:
    """A Modbus device on a TCP port, on the loopback address unless told otherwise."""

    def __init__(self, tcp_port: int, host: str = "127.0.0.1") -> None:
        try:
            self._server = socket.create_server((host, tcp_port))
        except (OSError, OverflowError) as error:
            raise InputError(f"cannot listen on {host} port {tcp_port}: {error}") from error
        self._server.settimeout(STOP_S)
        self.tcp_port: int = self._server.getsockname()[1]
        self._registers = _Registers()
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._accept, name="rig modbus tcp", daemon=True)]
        self._threads[0].start()

    def take(self, sample: RigSample) -> None:
        """Answer with this sample from now on."""
        self._registers.take(sample)

    def close(self) -> None:
        """Take the line down."""
        self._stop.set()
        for thread in self._threads:
            thread.join()
        self._server.close()

    def _accept(self) -> None:
        while not self._stop.is_set():
            try:
                connection, _ = self._server.accept()
            except TimeoutError:
                continue
            self._threads = [t for t in self._threads if t.is_alive()]
            thread = threading.Thread(target=self._serve, args=(connection,), daemon=True)
            thread.start()
            self._threads.append(thread)

    def _serve(self, connection: socket.socket) -> None:
        connection.settimeout(STOP_S)
        heard = b""
        with connection:
            while not self._stop.is_set():
                try:
                    more = connection.recv(1024)
                except TimeoutError:
                    continue
                except OSError:
                    return
                if not more:
                    return
                heard += more
                while (size := _whole_tcp(heard)) is not None:
                    frame, heard = heard[:size], heard[size:]
                    if size < 8 or not self._send(connection, frame):
                        return

    def _send(self, connection: socket.socket, frame: bytes) -> bool:
        """Answer one frame; say whether the connection still stands."""
        transaction, device = frame[:2], frame[6]
        reply = self._registers.spoiled(
            frame[7:], lambda body: tcp_frame(transaction, device, body)
        )
        try:
            connection.sendall(reply)
        except OSError:
            return False
        return True


def _whole_tcp(heard: bytes) -> int | None:
    """Return the size of the frame at the front, None if it is not whole yet."""
    if len(heard) < 6:
        return None
    size = 6 + int.from_bytes(heard[4:6], "big")
    return size if len(heard) >= size else None
