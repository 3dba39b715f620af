"""One register, or two, of a Modbus device, asked again and again; RTU and TCP."""

import logging
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING, ClassVar, Literal, TypeVar

from gaugewright.errors import FrameError, SourceError
from gaugewright.instruments.events import (
    SYSTEM_CLOCK,
    Clock,
    Fault,
    Sample,
    Signal,
    TroubleKind,
)
from gaugewright.instruments.serial_text import PARITIES, Parity
from gaugewright.instruments.settings import SourceSettings
from gaugewright.instruments.source import Source
from gaugewright.words import said

if TYPE_CHECKING:  # pymodbus takes 0.1 s to import: only who opens a Modbus source pays
    from pymodbus.client import ModbusSerialClient, ModbusTcpClient
    from pymodbus.pdu import ModbusPDU

# The library logs every missing answer as an error; here it is a Trouble in the stream.
logging.getLogger("pymodbus").addHandler(logging.NullHandler())

RegisterType = Literal["u16", "i16", "u32", "i32", "f32"]
WordOrder = Literal["high_first", "low_first"]

_FORMATS = {"u16": ">H", "i16": ">h", "u32": ">I", "i32": ">i", "f32": ">f"}
REFUSALS = {
    1: "illegal function",
    2: "illegal data address",
    3: "illegal data value",
    4: "device failure",
    5: "acknowledge",
    6: "device busy",
    10: "gateway path unavailable",
    11: "gateway target failed to respond",
}
"""Exception codes of the Modbus application protocol, section 7."""


def words_of(register_type: RegisterType) -> int:
    """Return how many registers the type takes.

    >>> words_of("f32")
    2
    """
    return struct.calcsize(_FORMATS[register_type]) // 2


def value_of(words: Sequence[int], register_type: RegisterType, order: WordOrder) -> float:
    """Return the number in one or two registers.

    Raises `FrameError` for the wrong number of registers, or a float that is none.

    >>> value_of([0xFFFE], "i16", "high_first")
    -2.0
    >>> value_of([0x4145, 0x0000], "f32", "high_first"), value_of([0, 0x4145], "f32", "low_first")
    (12.3125, 12.3125)
    """
    wanted = words_of(register_type)
    if len(words) != wanted:
        raise FrameError(
            said(
                "{number} registers came, {wanted} were asked for", number=len(words), wanted=wanted
            )
        )
    ordered = words if order == "high_first" else list(reversed(words))
    (number,) = struct.unpack(_FORMATS[register_type], struct.pack(f">{wanted}H", *ordered))
    if not isfinite(number):
        raise FrameError(said("the registers hold {number}, which is not a number", number=number))
    return float(number)


@dataclass(frozen=True, slots=True, kw_only=True)
class ModbusSettings(SourceSettings):
    """What to ask a Modbus device for; the transports add where it is.

    ``address`` is the number on the wire, from 0: a manual's register 40001 is holding
    register 0, its 30001 input register 0.
    """

    device_id: int = 1
    table: Literal["holding", "input"] = "holding"
    address: int = 0
    register_type: RegisterType = "u16"
    word_order: WordOrder = "high_first"
    scale: float = 1.0
    """Counts per unit of the register."""
    offset: float = 0.0
    temperature_address: int | None = None
    temperature_type: RegisterType = "i16"
    temperature_scale: float = 0.1
    """°C per unit of the temperature register."""
    every_s: float = 0.1
    """Time from one question to the next. [s]"""
    timeout_s: float = 1.0
    """How long an answer may take. [s]"""

    def _check(self) -> None:
        self._require_within("device_id", 0, 247)
        self._require_within("address", 0, 65536 - words_of(self.register_type))
        if self.temperature_address is not None:
            most = 65536 - words_of(self.temperature_type)
            self._require_within("temperature_address", 0, most)
        self._require_positive("every_s")
        self._require_positive("timeout_s")


@dataclass(frozen=True, slots=True, kw_only=True)
class ModbusTcpSettings(ModbusSettings):
    """A Modbus device on the network.

    >>> ModbusTcpSettings(host="10.0.0.7", address=4).to_mapping()["tcp_port"]
    502
    """

    kind: ClassVar[str] = "modbus_tcp"

    host: str
    tcp_port: int = 502

    def _check(self) -> None:
        super(ModbusTcpSettings, self)._check()  # the short form fails in slotted dataclasses
        self._require_text("host")
        self._require_within("tcp_port", 1, 65535)


@dataclass(frozen=True, slots=True, kw_only=True)
class ModbusRtuSettings(ModbusSettings):
    """A Modbus device on a serial line."""

    kind: ClassVar[str] = "modbus_rtu"

    port: str
    baud: int = 19200
    parity: Parity = "even"
    """Even is the standard's default; many devices come set to none."""
    stop_bits: Literal[1, 2] = 1

    def _check(self) -> None:
        super(ModbusRtuSettings, self)._check()  # the short form fails in slotted dataclasses
        self._require_text("port")
        self._require_positive("baud")


M = TypeVar("M", bound=ModbusSettings)


class _ModbusSource(Source[M]):
    """What RTU and TCP share: ask, decode, name what is wrong."""

    def __init__(self, settings: M, clock: Clock = SYSTEM_CLOCK) -> None:
        super().__init__(settings, clock)
        self._client: ModbusTcpClient | ModbusSerialClient | None = None
        self._heard = b""
        self._next_s = 0.0

    def _new_client(self) -> "ModbusTcpClient | ModbusSerialClient":
        raise NotImplementedError

    def _overhear(self, is_sending: bool, data: bytes) -> bytes:
        """Keep the bytes of the answer: evidence if it cannot be read."""
        self._heard = b"" if is_sending else data
        return data

    def _connect(self) -> None:
        client = self._new_client()
        if not client.connect():
            raise SourceError(said("cannot open {describe}", describe=self.settings.describe()))
        self._client = client
        self._next_s = self.clock.monotonic_s()

    def _disconnect(self) -> None:
        if self._client is not None:
            self._client.close()  # type: ignore[no-untyped-call]  # pymodbus leaves it untyped
            self._client = None

    def _receive(self, timeout_s: float) -> Sequence[Signal]:
        if self._stop.wait(max(0.0, min(timeout_s, self._next_s - self.clock.monotonic_s()))):
            return []
        now_s = self.clock.monotonic_s()
        if now_s < self._next_s:
            return []
        # From now, not from the last turn: a slow device must not be asked in a burst.
        self._next_s = now_s + self.settings.every_s
        s = self.settings
        counts = self._ask(s.address, s.register_type)
        if not isinstance(counts, float):
            return counts
        raw = self._heard
        temperature_c = None
        if s.temperature_address is not None:
            degrees = self._ask(s.temperature_address, s.temperature_type)
            if not isinstance(degrees, float):
                return [*degrees, Sample(counts * s.scale + s.offset, None, raw)]
            temperature_c = degrees * s.temperature_scale
        return [Sample(counts * s.scale + s.offset, temperature_c, raw)]

    def _ask(self, address: int, register_type: RegisterType) -> float | list[Signal]:
        """Return the register's number, or what came instead of it."""
        answer = self._answer(address, register_type)
        if answer is None:
            if not self._heard:
                return []
            message = f"not a valid answer: {self._heard[:20].hex(' ')}"
            return [Fault(TroubleKind.GARBAGE, message, self._heard)]
        if answer.isError():
            code = getattr(answer, "exception_code", 0)
            message = f"the device refuses: {REFUSALS.get(code, 'unknown')} (code {code})"
            return [Fault(TroubleKind.NO_VALUE, message, self._heard)]
        try:
            return value_of(answer.registers, register_type, self.settings.word_order)
        except FrameError as error:
            return [Fault(TroubleKind.GARBAGE, str(error), self._heard)]

    def _answer(self, address: int, register_type: RegisterType) -> "ModbusPDU | None":
        """Return the answer, None if none that is whole came; raises if the line is gone."""
        from pymodbus.exceptions import ModbusException

        s = self.settings
        if self._client is None:
            raise SourceError(said("{describe} is not open", describe=s.describe()))
        self._heard = b""
        ask = (
            self._client.read_holding_registers
            if s.table == "holding"
            else self._client.read_input_registers
        )
        try:
            return ask(address, count=words_of(register_type), device_id=s.device_id)
        except (ModbusException, OSError) as error:
            if not self._is_connected():
                raise SourceError(
                    said(
                        "the line is gone: {describe}: {error}", describe=s.describe(), error=error
                    )
                ) from error
            return None

    def _is_connected(self) -> bool:
        return self._client is not None and self._client.connected


class ModbusTcpSource(_ModbusSource[ModbusTcpSettings]):
    """Asks a Modbus device over TCP."""

    def _new_client(self) -> "ModbusTcpClient":
        from pymodbus.client import ModbusTcpClient

        s = self.settings
        return ModbusTcpClient(
            s.host, port=s.tcp_port, timeout=s.timeout_s, retries=0, trace_packet=self._overhear
        )


class ModbusRtuSource(_ModbusSource[ModbusRtuSettings]):
    """Asks a Modbus device over a serial line."""

    def _new_client(self) -> "ModbusSerialClient":
        from pymodbus.client import ModbusSerialClient

        s = self.settings
        return ModbusSerialClient(
            s.port,
            baudrate=s.baud,
            parity=PARITIES[s.parity],
            stopbits=s.stop_bits,
            timeout=s.timeout_s,
            retries=0,
            trace_packet=self._overhear,
        )
