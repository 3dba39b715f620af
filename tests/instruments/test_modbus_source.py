"""Modbus over TCP and over a serial line, against pymodbus's own server."""

import asyncio
import socket
import threading

import pytest
from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from gaugewright.errors import FrameError, InputError
from gaugewright.instruments.events import TroubleKind
from gaugewright.instruments.modbus import (
    ModbusRtuSettings,
    ModbusRtuSource,
    ModbusTcpSettings,
    ModbusTcpSource,
    value_of,
)
from gaugewright.testing.sources import Line, LineContract, first, listening


class Device:
    """Registers that a test sets, behind a pymodbus server in a thread of its own."""

    def __init__(self, make_server):
        self.registers = [0] * 20
        self.refusal = None
        self.is_silent = False
        self.forged = b""
        self._make_server = make_server
        self._loop = None

    async def _answer(self, function, start, address, count, current, set_values):
        current[: len(self.registers)] = self.registers
        return self.refusal

    def _before_sending(self, is_sending, data):
        if is_sending and self.is_silent:
            return b""
        return self.forged if is_sending and self.forged else data

    def start(self):
        started = threading.Event()

        async def serve():
            block = SimData(0, count=20, values=0, datatype=DataType.REGISTERS)
            device = SimDevice(id=1, simdata=[block], action=self._answer)
            self._server = self._make_server(device, self._before_sending)
            await self._server.serve_forever(background=True)
            started.set()
            await self._server.serving
            # The library closes its connections a turn of the loop after it says so.
            await asyncio.sleep(0.03)

        def run():
            self._loop = asyncio.new_event_loop()
            try:
                self._loop.run_until_complete(serve())
            finally:
                self._loop.close()

        self._thread = threading.Thread(target=run, daemon=True)
        self._thread.start()
        assert started.wait(5)

    def stop(self):
        if self._loop is None:
            return
        asyncio.run_coroutine_threadsafe(self._shut_down(), self._loop).result(5)
        self._thread.join(5)
        self._loop = None

    async def _shut_down(self):
        # A connection that is just being made would be forgotten, and left open.
        await asyncio.sleep(0.03)
        await self._server.shutdown()


class ModbusLine(Line):
    wrong_kind = TroubleKind.NO_VALUE

    def send(self, counts):
        self.device.refusal = None
        self.device.is_silent = False
        self.device.registers[4] = int(counts)

    def send_wrong(self):
        self.device.refusal = ExcCodes.ILLEGAL_ADDRESS

    def be_silent(self):
        self.device.is_silent = True

    def cut(self):
        self.device.stop()

    def restore(self):
        self.device.start()

    def close(self):
        self.device.stop()


class TcpLine(ModbusLine):
    def __init__(self):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.device = Device(
            lambda device, trace: ModbusTcpServer(
                device, address=("127.0.0.1", self.port), trace_packet=trace
            )
        )
        self.device.start()

    def source(self, **settings):
        given = {"host": "127.0.0.1", "tcp_port": self.port, "address": 4, "timeout_s": 0.3}
        return ModbusTcpSource(ModbusTcpSettings(**(given | {"every_s": 0.02} | settings)))


class RtuLine(ModbusLine):
    def __init__(self, make_cable):
        self.make_cable = make_cable
        self.cable = make_cable()
        self.device = Device(
            lambda device, trace: ModbusSerialServer(
                device, port=str(self.cable.far.link), baudrate=19200, trace_packet=trace
            )
        )
        self.device.start()

    def source(self, **settings):
        given = {"port": str(self.cable.near.link), "address": 4, "timeout_s": 0.3}
        given |= {"every_s": 0.02, "parity": "none"}
        return ModbusRtuSource(ModbusRtuSettings(**(given | settings)))

    def cut(self):
        self.device.stop()
        self.cable.pull_out()

    def restore(self):
        self.cable = self.make_cable()
        self.device.start()

    def close(self):
        self.cut()


class TestModbusTcp(LineContract):
    @pytest.fixture
    def far(self):
        line = TcpLine()
        yield line
        line.close()


class TestModbusRtu(LineContract):
    @pytest.fixture
    def far(self, two_ended_cable):
        line = RtuLine(two_ended_cable)
        yield line
        line.close()

    def test_an_answer_with_a_wrong_checksum_is_garbage(self, far):
        with listening(far.source()) as events:
            far.send(5)
            first(events, 5.0)
            answer = bytes.fromhex("01 03 02 00 05 00 00")
            far.device.forged = answer
            trouble = first(events, TroubleKind.GARBAGE)
            assert trouble.raw == answer


@pytest.fixture
def tcp():
    line = TcpLine()
    yield line
    line.close()


def test_two_registers_are_one_number_and_the_temperature_comes_with_it(tcp):
    tcp.device.registers[6:8] = [0x4145, 0x0000]
    tcp.device.registers[9] = 0xFFFB
    source = tcp.source(address=6, register_type="f32", temperature_address=9, scale=2)
    with listening(source) as events:
        reading = first(events, 24.625)
        assert reading.temperature_c == pytest.approx(-0.5)


def test_a_register_that_is_not_there_is_said_by_the_device(tcp):
    with listening(tcp.source(address=500)) as events:
        assert "illegal data address (code 2)" in first(events, TroubleKind.NO_VALUE).message


@pytest.mark.parametrize(
    ("words", "register_type", "order", "value"),
    [
        ([0xFFFF], "u16", "high_first", 65535),
        ([0xFFFF], "i16", "high_first", -1),
        ([0x0001, 0x0002], "u32", "high_first", 65538),
        ([0x0001, 0x0002], "u32", "low_first", 131073),
        ([0xFFFF, 0xFFFE], "i32", "high_first", -2),
        ([0x3FC0, 0x0000], "f32", "high_first", 1.5),
    ],
)
def test_registers_become_the_number_they_hold(words, register_type, order, value):
    assert value_of(words, register_type, order) == value


@pytest.mark.parametrize(
    ("words", "register_type", "said"),
    [([1], "u32", "1 registers came, 2"), ([0x7FC0, 0], "f32", "nan"), ([0x7F80, 0], "f32", "inf")],
)
def test_registers_that_hold_no_number_are_refused(words, register_type, said):
    with pytest.raises(FrameError, match=said):
        value_of(words, register_type, "high_first")


@pytest.mark.parametrize(
    ("setting", "value", "said"),
    [
        ("host", "", "host: must not be empty"),
        ("tcp_port", 0, "tcp_port: must be 1 to 65535, found 0"),
        ("device_id", 248, "device_id: must be 0 to 247, found 248"),
        ("address", 65536, "address: must be 0 to 65535, found 65536"),
        ("every_s", 0.0, "every_s: must be above 0"),
    ],
)
def test_a_modbus_setting_that_cannot_be_is_named(setting, value, said):
    with pytest.raises(InputError) as refused:
        ModbusTcpSettings(**({"host": "h"} | {setting: value}))
    assert said in str(refused.value)
