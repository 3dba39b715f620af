"""The rig over real protocols, read by the same sources as any instrument."""

import io
import json
import os
import socket
import subprocess
import sys
import time

import pytest
from pymodbus.client import ModbusTcpClient

from gaugewright.app.rig_run import open_rig, run_orders
from gaugewright.errors import InputError, SourceError
from gaugewright.instruments.events import Reading, TroubleKind
from gaugewright.instruments.modbus import (
    ModbusRtuSettings,
    ModbusRtuSource,
    ModbusTcpSettings,
    ModbusTcpSource,
)
from gaugewright.instruments.modbus_frames import answer, rtu_request
from gaugewright.instruments.rig import RIG_PATTERN, RigFault, RigSettings
from gaugewright.instruments.serial_text import SerialTextSettings, SerialTextSource
from gaugewright.testing.sources import first, listening

STILL = RigSettings(start_l=150, noise_counts=0.0)


@pytest.fixture
def yard():
    yard = open_rig(None, STILL, speed=5, serial=True, modbus_rtu=True, tcp_port=0)
    with yard.running:
        yield yard


def sources(yard, **settings):
    places = yard.places
    serial = SerialTextSettings(port=places["serial"], pattern=RIG_PATTERN, **settings)
    common = {"temperature_address": 1, "every_s": 0.02, "timeout_s": 0.3} | settings
    rtu = ModbusRtuSettings(port=places["modbus_rtu"], parity="none", **common)
    tcp = ModbusTcpSettings(host="127.0.0.1", tcp_port=places["modbus_tcp"], **common)
    return {
        "serial": SerialTextSource(serial),
        "modbus_rtu": ModbusRtuSource(rtu),
        "modbus_tcp": ModbusTcpSource(tcp),
    }


def test_all_lines_tell_the_same_counts_and_temperature(yard):
    told = {}
    for name, source in sources(yard).items():
        with listening(source) as events:
            reading = first(events, Reading)
            told[name] = (reading.counts, reading.temperature_c)
    assert len(set(told.values())) == 1, told


def test_an_order_is_seen_on_every_line(yard):
    (said,) = run_orders(yard, ["pour 60"])
    assert said == "pouring; reported: 60.0 L"
    for source in sources(yard).values():
        with listening(source) as events:
            before = first(events, Reading).counts
            end_s = time.monotonic() + 60
            while first(events, Reading).counts < before + 20:
                assert time.monotonic() < end_s


@pytest.mark.parametrize("line", ["serial", "modbus_rtu", "modbus_tcp"])
def test_silence_and_garbage_are_shown_and_readings_come_back(yard, line):
    with listening(sources(yard, silent_after_s=0.5)[line]) as events:
        first(events, Reading)
        yard.running.rig.fault = RigFault.SILENT
        first(events, TroubleKind.SILENT)
        yard.running.rig.fault = RigFault.GARBAGE
        if line != "modbus_tcp":  # a spoiled network frame is for nobody
            first(events, TroubleKind.GARBAGE)
        yard.running.rig.fault = RigFault.NONE
        assert first(events, Reading)


def test_who_listens_late_hears_what_is_now_and_not_what_was():
    settings = RigSettings(start_l=60, noise_counts=0.0, flow_l_s=20.0, tube_tau_s=0.2, hz=100)
    yard = open_rig(None, settings, speed=10, serial=True)
    with yard.running:
        time.sleep(0.3)
        yard.running.rig.pour(120)
        time.sleep(1.2)  # over a thousand lines that nobody reads, some from before the pour
        with listening(sources_serial(yard)) as events:
            late = first(events, Reading).counts
            time.sleep(0.5)
        assert late == pytest.approx(events.ring.items()[-1].counts, abs=30)


def sources_serial(yard):
    return SerialTextSource(SerialTextSettings(port=yard.places["serial"], pattern=RIG_PATTERN))


def test_another_masters_questions_are_answered_as_the_protocol_says(yard):
    with ModbusTcpClient("127.0.0.1", port=yard.places["modbus_tcp"], timeout=1) as client:
        time.sleep(0.2)
        both = client.read_input_registers(0, count=4, device_id=1).registers
        as_float = client.convert_from_registers(both[2:], client.DATATYPE.FLOAT32)
        assert as_float == both[0]
        assert both[1] == 150
        assert client.read_holding_registers(3, count=2, device_id=1).exception_code == 2
        assert client.read_coils(0, count=1, device_id=1).exception_code == 1


def test_frames_in_pieces_and_several_at_once_are_answered(yard):
    time.sleep(0.2)
    question = bytes.fromhex("0001 0000 0006 01 03 0000 0001")
    with socket.create_connection(("127.0.0.1", yard.places["modbus_tcp"]), 1) as connection:
        for byte in question[:-1]:
            connection.send(bytes([byte]))
        connection.send(question[-1:] + question)
        connection.settimeout(1)
        heard = b""
        while len(heard) < 22:
            heard += connection.recv(64)
    assert heard[:11] == heard[11:]


def test_a_port_in_use_is_refused_and_nothing_is_left_open():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        before = len(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else 0
        with pytest.raises(InputError, match=f"cannot listen on 127.0.0.1 port {port}"):
            open_rig(None, STILL, serial=True, modbus_rtu=True, tcp_port=port)
        if before:
            assert len(os.listdir("/proc/self/fd")) == before


def test_orders_are_read_until_quit_and_a_wrong_one_does_not_stop_the_rig(yard):
    said = list(run_orders(yard, io.StringIO("state\n\nfrobnicate\nquit\nstate\n")))
    assert len(said) == 2
    assert said[1].startswith("refused: order: 'frobnicate' is no order")


def test_a_rig_that_has_failed_says_so(yard):
    yard.running.error = RuntimeError("no more time")
    with pytest.raises(SourceError, match="the rig has stopped: no more time"):
        list(run_orders(yard, ["state"]))


@pytest.mark.parametrize(
    ("request_hex", "answer_hex"),
    [
        ("03 0000 0000", "83 03"),
        ("03 0000 007E", "83 03"),
        ("03 0000", "83 03"),
        ("06 0000 0001", "86 01"),
        ("04 0000 0001", "04 02 0001"),
    ],
)
def test_a_question_that_cannot_be_answered_gets_the_protocols_refusal(request_hex, answer_hex):
    assert answer(bytes.fromhex(request_hex), {0: 1}) == bytes.fromhex(answer_hex)


def test_a_frame_with_a_wrong_checksum_is_not_a_frame():
    with pytest.raises(Exception, match="not a whole frame"):
        rtu_request(bytes.fromhex("01 03 00 00 00 0A C5 CE"))


def command(*arguments, orders=""):
    return subprocess.run(
        [sys.executable, "-m", "gaugewright", "rig", *arguments],
        input=orders,
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )


def test_the_command_prints_what_to_open_and_carries_out_orders():
    done = command("--serial", "--modbus-tcp", "0", "--json", orders="pour 45,5\nquit\n")
    assert done.returncode == 0, done.stderr
    record, _, said = done.stdout.partition("}\n")
    places = json.loads(record + "}")
    assert places["serial"].startswith("/dev/")
    assert places["modbus_tcp"] > 0
    assert said == "pouring; reported: 45.5 L\n"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "give at least one of --serial, --modbus-rtu and --modbus-tcp PORT"),
        (["--serial", "--speed", "0"], "--speed: must be above 0"),
        (["--serial", "--averaging", "0"], "--averaging: must be above 0"),
        (["--serial", "nothing.toml"], "nothing.toml"),
    ],
)
def test_the_command_refuses_in_one_line(arguments, said):
    done = command(*arguments)
    assert done.returncode == 2
    assert said in done.stderr
    assert done.stderr.count("\n") == 1
