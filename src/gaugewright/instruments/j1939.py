"""A number on a vehicle's CAN bus, by its parameter group (J1939)."""

import errno
import importlib
from collections.abc import Sequence
from dataclasses import dataclass
from types import ModuleType
from typing import Any, ClassVar, Self

from gaugewright.errors import FrameError, InputError, SourceError
from gaugewright.instruments.events import (
    SYSTEM_CLOCK,
    Clock,
    Fault,
    Sample,
    Signal,
    TroubleKind,
)
from gaugewright.instruments.settings import SourceSettings
from gaugewright.instruments.source import Source
from gaugewright.words import said

PDU1_LAST = 239
"""Up to this PF the PS byte is a destination address, not part of the group's number."""


@dataclass(frozen=True, slots=True)
class Identifier:
    """The parts of a 29-bit identifier."""

    priority: int
    pgn: int
    source_address: int
    destination: int | None
    """None for a broadcast group."""


def identifier_of(can_id: int) -> Identifier:
    """Split a 29-bit identifier (J1939-21).

    >>> identifier_of(0x18FEFC21)
    Identifier(priority=6, pgn=65276, source_address=33, destination=None)
    >>> identifier_of(0x18EA2100)
    Identifier(priority=6, pgn=59904, source_address=0, destination=33)
    """
    if not 0 <= can_id < 1 << 29:
        raise InputError(said("a 29-bit identifier was wanted, found {can_id:#x}", can_id=can_id))
    priority, source = can_id >> 26, can_id & 0xFF
    page, pf, ps = can_id >> 24 & 0x3, can_id >> 16 & 0xFF, can_id >> 8 & 0xFF
    if pf <= PDU1_LAST:
        return Identifier(priority, page << 16 | pf << 8, source, ps)
    return Identifier(priority, page << 16 | pf << 8 | ps, source, None)


def raw_of(data: bytes, start_bit: int, length_bits: int) -> int:
    """Take a little-endian field; bit 0 is the lowest bit of the first byte.

    Raises `FrameError` if the frame is too short for the field.

    >>> raw_of(bytes.fromhex("FF7DFFFFFFFFFFFF"), 8, 8)
    125
    """
    if start_bit + length_bits > 8 * len(data):
        raise FrameError(
            said(
                "the frame has {number} bytes, bits {start_bit} to {start_bit_2} are asked for",
                number=len(data),
                start_bit=start_bit,
                start_bit_2=start_bit + length_bits - 1,
            )
        )
    return int.from_bytes(data, "little") >> start_bit & (1 << length_bits) - 1


def no_value_in(raw: int, length_bits: int) -> str | None:
    """Say why a field holds no value, or None if it holds one (J1939-71, 5.1.4).

    The highest byte decides: 0xFF not available, 0xFE error, 0xFB to 0xFD reserved.
    Fields shorter than a byte keep their two highest codes for that.

    >>> no_value_in(0xFF, 8), no_value_in(0xFE12, 16), no_value_in(0xFA, 8)
    ('not available', 'error', None)
    >>> no_value_in(0b10, 2), no_value_in(0b01, 2)
    ('error', None)
    """
    if length_bits == 1:
        return None
    if length_bits < 8:
        top = (1 << length_bits) - 1
        return {top: "not available", top - 1: "error"}.get(raw)
    high = raw >> length_bits - 8
    if high == 0xFF:
        return "not available"
    if high == 0xFE:
        return "error"
    return "reserved" if high > 0xFA else None


@dataclass(frozen=True, slots=True, kw_only=True)
class J1939Settings(SourceSettings):
    """Which field of which group, and how a bit counts.

    >>> J1939Settings.fuel_level(interface="socketcan", channel="can0").scale
    0.4
    """

    kind: ClassVar[str] = "j1939"

    interface: str
    """What python-can calls the adapter: socketcan, slcan, virtual … ."""
    channel: str
    bitrate: int = 250_000
    pgn: int = 65276
    start_bit: int = 8
    """From the first byte's lowest bit, which is bit 0."""
    length_bits: int = 8
    scale: float = 1.0
    offset: float = 0.0
    source_address: int | None = None
    """Only from this address; None takes any."""

    @classmethod
    def fuel_level(cls, *, interface: str, channel: str, **others: Any) -> Self:
        """Return the settings for SPN 96, fuel level 1, as per cent of full.

        One bit is 0.4 %, 1.6 L in a tank of 400 L: enough to watch, too coarse to
        calibrate against.
        """
        given: dict[str, Any] = {"scale": 0.4, "counts_max": 100.0} | others
        return cls(interface=interface, channel=channel, pgn=65276, **given)

    @classmethod
    def fuel_used(cls, *, interface: str, channel: str, **others: Any) -> Self:
        """Return the settings for SPN 250, the engine's total fuel used. [L]

        PGN 65257, bytes 5 to 8, one bit is 0.5 L. Trip fuel comes first in that group.
        """
        given: dict[str, Any] = {
            "scale": 0.5,
            "start_bit": 32,
            "length_bits": 32,
            "counts_max": 0xFAFF_FFFF * 0.5,
        } | others
        return cls(interface=interface, channel=channel, pgn=65257, **given)

    def _check(self) -> None:
        self._require_text("interface")
        self._require_text("channel")
        self._require_positive("bitrate")
        self._require_within("pgn", 0, 0x3FFFF)
        self._require_within("start_bit", 0, 63)
        self._require_within("length_bits", 1, 64 - self.start_bit)
        if self.scale == 0:
            raise InputError(said("must not be 0"), field="scale")
        if self.source_address is not None:
            self._require_within("source_address", 0, 253)

    def decode(self, can_id: int, data: bytes) -> Signal | None:
        """Return the value, or why there is none; None for a frame of other people.

        >>> settings = J1939Settings.fuel_level(interface="virtual", channel="x")
        >>> settings.decode(0x18FEFC21, bytes.fromhex("FF7DFFFFFFFFFFFF")).counts
        50.0
        """
        identifier = identifier_of(can_id)
        if identifier.pgn != self.pgn:
            return None
        if self.source_address not in (None, identifier.source_address):
            return None
        try:
            raw = raw_of(data, self.start_bit, self.length_bits)
        except FrameError as error:
            return Fault(TroubleKind.HALF_LINE, str(error), data)
        missing = no_value_in(raw, self.length_bits)
        if missing is not None:
            message = f"the sender says {missing} ({raw:#x})"
            return Fault(TroubleKind.NO_VALUE, message, data)
        return Sample(raw * self.scale + self.offset, None, data)


_NO_ADAPTER = (errno.EAFNOSUPPORT, errno.ENODEV, errno.ENOENT, errno.ENXIO)
"""How a system says that it has no such adapter, or none at all."""


def _python_can() -> ModuleType:
    """Import the optional library only when a CAN source is opened."""
    try:
        return importlib.import_module("can")
    except ModuleNotFoundError:
        raise SourceError(
            said("a CAN bus needs the package python-can: pip install 'gaugewright[can]'")
        ) from None


class J1939Source(Source[J1939Settings]):
    """Listens on a CAN bus; sends nothing."""

    def __init__(self, settings: J1939Settings, clock: Clock = SYSTEM_CLOCK) -> None:
        super().__init__(settings, clock)
        self._can: ModuleType | None = None
        self._bus: Any = None

    def _connect(self) -> None:
        self._can = _python_can()
        s = self.settings
        try:
            self._bus = self._can.Bus(
                interface=s.interface, channel=s.channel, bitrate=s.bitrate, ignore_config=True
            )
        except (self._can.CanError, OSError, ValueError) as error:
            is_missing = getattr(error, "errno", None) in _NO_ADAPTER
            raise SourceError(
                said(
                    "this computer has no CAN adapter {channel}; is it plugged in and set up?",
                    channel=s.channel,
                )
                if is_missing
                else said("the CAN adapter {channel} cannot be opened", channel=s.channel),
                details=f"{s.describe()}: {error}",
            ) from error

    def _receive(self, timeout_s: float) -> Sequence[Signal]:
        if self._can is None or self._bus is None:
            raise SourceError(said("{describe} is not open", describe=self.settings.describe()))
        try:
            message = self._bus.recv(timeout_s)
        except (self._can.CanError, OSError) as error:
            raise SourceError(
                said(
                    "the bus is gone: {describe}: {error}",
                    describe=self.settings.describe(),
                    error=error,
                )
            ) from error
        if message is None or not message.is_extended_id or message.is_error_frame:
            return []
        signal = self.settings.decode(message.arbitration_id, bytes(message.data))
        return [] if signal is None else [signal]

    def _disconnect(self) -> None:
        if self._bus is not None:
            self._bus.shutdown()
            self._bus = None
