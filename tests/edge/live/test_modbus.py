from __future__ import annotations

import math
import struct
import time
from dataclasses import replace

import numpy as np
import pytest
from pymodbus.constants import ExcCodes

from nozzlewright.edge.intake.live.modbus import (
    ModbusInstrument,
    ModbusSpec,
    RtuConnection,
    TcpConnection,
)
from nozzlewright.edge.intake.live.scale import Scale
from nozzlewright.errors import InstrumentFault

BAR = 1e5


@pytest.fixture(scope="module")
def served(registers):
    with registers.tcp_device() as (port, device):
        yield port, device


@pytest.fixture
def device(served):
    _, one = served
    one.registers[:] = [0] * 16
    one.refusal = None
    return one


@pytest.fixture
def spec(served):
    return ModbusSpec(
        "gauge",
        TcpConnection("127.0.0.1", served[0], timeout_s=10.0),
        0,
        "uint16",
        scale=Scale(0.01 * BAR),
    )


def samples(instrument, number):
    found = []
    until = time.monotonic() + 60.0
    while len(found) < number and time.monotonic() < until:
        found += instrument.read()
    return found


def until_it_fails(instrument, seconds=60.0):
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        instrument.read()


def opened(spec):
    instrument = ModbusInstrument(spec)
    instrument.open()
    return instrument


def read_one(spec):
    instrument = opened(spec)
    try:
        return samples(instrument, 1)[0][1]
    finally:
        instrument.close()


# A number in two registers comes in four orders; each maker has his own.
@pytest.mark.parametrize(
    ("kind", "form", "raw"),
    [
        ("int16", ">h", -1234),
        ("uint16", ">H", 54321),
        ("int32", ">i", -123_456_789),
        ("uint32", ">I", 3_123_456_789),
        ("float32", ">f", 175.25),
    ],
)
@pytest.mark.parametrize("word_order", ["big", "little"])
@pytest.mark.parametrize("byte_order", ["big", "little"])
@pytest.mark.parametrize("function", [3, 4])
def test_a_number_is_read_whatever_the_order_of_its_words_and_bytes(
    spec, device, kind, form, raw, word_order, byte_order, function
):
    whole = struct.pack(form, raw)
    words = [whole[k : k + 2] for k in range(0, len(whole), 2)]
    if word_order == "little":
        words.reverse()
    device.registers[5 : 5 + len(words)] = [int.from_bytes(one, byte_order) for one in words]
    asked = replace(
        spec, register=5, type=kind, word_order=word_order, byte_order=byte_order,
        function=function, scale=Scale(1.0),
    )  # fmt: skip

    assert read_one(asked) == raw


def test_two_points_of_a_current_loop_make_pressures(spec, device):
    loop = replace(spec, scale=Scale(400.0 / 16000.0 * BAR, -100.0 * BAR, (3600, 21000)))
    device.registers[0] = 12000
    assert read_one(loop) == pytest.approx(200.0 * BAR)


def test_a_broken_lead_is_no_pressure_and_soon_a_lost_instrument(spec, device):
    loop = replace(spec, scale=Scale(2500.0, -1e7, (3600, 21000)), period_s=0.01)
    instrument = opened(loop)
    device.registers[0] = 120
    assert math.isnan(samples(instrument, 1)[0][1])

    with pytest.raises(InstrumentFault, match=r"raw value 120 is no pressure; look at the lead"):
        until_it_fails(instrument)
    instrument.close()


def test_samples_come_as_fast_as_it_answers_and_are_stamped_between_question_and_answer(
    spec, device
):
    instrument = opened(spec)
    began = time.monotonic()
    times = np.array([one[0] for one in samples(instrument, 500)])
    took = time.monotonic() - began
    instrument.close()

    assert (np.diff(times) > 0.0).all()
    assert began < times[0]
    assert times[-1] < began + took
    # Nothing waits between an answer and the next question; a busy machine may, now and then.
    assert np.quantile(np.diff(times), 0.1) < 1e-3


def test_a_stated_period_is_kept(spec, device, at_best):
    instrument = opened(replace(spec, period_s=0.01))

    def off():
        times = np.array([one[0] for one in samples(instrument, 60)])
        assert np.diff(times).sum() > 59 * 0.0095  # never more often
        return abs(np.median(np.diff(times)) - 0.01)

    assert at_best(off, 5e-4) < 5e-4
    instrument.close()


def test_a_long_period_blocks_nobody_for_long(spec, device, at_best):
    instrument = opened(replace(spec, period_s=600.0))
    samples(instrument, 1)

    def read():
        began = time.monotonic()
        assert instrument.read() == ()
        return time.monotonic() - began

    assert at_best(read, 0.08) < 0.08
    instrument.close()


@pytest.mark.parametrize(
    ("refusal", "words"),
    [
        (ExcCodes.ILLEGAL_FUNCTION, "try function = 4"),
        (ExcCodes.ILLEGAL_ADDRESS, r"40001 is register = 0"),
        (ExcCodes.ILLEGAL_VALUE, "check type"),
        (ExcCodes.DEVICE_FAILURE, "failure of its own"),
        (ExcCodes.GATEWAY_PATH_UNAVIABLE, "behind the gateway"),
    ],
)
def test_a_refusal_says_what_to_look_at(spec, device, refusal, words):
    device.refusal = refusal
    with pytest.raises(InstrumentFault, match=words):
        opened(spec)


def test_a_device_that_is_busy_for_a_moment_is_not_lost(spec, device):
    instrument = opened(spec)
    device.refusal = ExcCodes.DEVICE_BUSY
    assert instrument.read() == ()
    device.refusal = None
    assert len(samples(instrument, 1)) == 1
    instrument.close()


def test_a_device_that_falls_silent_is_lost_after_a_second(spec, device, at_best):
    short = replace(spec, connection=replace(spec.connection, timeout_s=0.3))

    def lost_after():
        instrument = opened(short)
        device.silent = True
        began = time.monotonic()
        with pytest.raises(InstrumentFault, match=r"has not answered for \d+\.\d s; look at its"):
            until_it_fails(instrument)
        took = time.monotonic() - began
        device.silent = False
        instrument.close()
        assert took > 1.0 - 0.05  # the last answer came a moment before
        return took

    assert at_best(lost_after, 1.6) < 1.6


def test_where_nobody_listens_the_fault_says_where_and_what_to_look_at(spec, registers):
    with registers.tcp_device() as (port, device):
        gone = replace(spec, connection=TcpConnection("127.0.0.1", port))
        instrument = opened(gone)
        device.stop()
        with pytest.raises(InstrumentFault, match=r"the connection to 127.0.0.1, port \d+ is gone"):
            until_it_fails(instrument)
        instrument.close()
        with pytest.raises(InstrumentFault, match=r"nothing can be reached at 127\.0\.0\.1"):
            opened(gone)
        device.start()
        assert read_one(gone) == 0.0


def test_an_instrument_that_is_not_open_says_so(spec):
    with pytest.raises(InstrumentFault, match="is not open"):
        ModbusInstrument(spec).read()


# -- serial line -----------------------------------------------------------------------------------


def test_a_transmitter_on_a_serial_line_is_read_lost_and_found_again(registers):
    with registers.rtu_device() as (port, device):
        line = RtuConnection(port, baud=115_200, parity="none", timeout_s=0.3)
        spec = ModbusSpec("loop", line, 2, "int16", scale=Scale(BAR))
        device.registers[2] = 137
        instrument = opened(spec)
        assert {one[1] for one in samples(instrument, 20)} == {137 * BAR}
        device.silent = True
        with pytest.raises(InstrumentFault, match=r"has not answered .* look at .* the two wires"):
            until_it_fails(instrument)
        instrument.close()
        device.silent = False
        time.sleep(0.1)
        assert read_one(spec) == 137 * BAR


def test_a_port_that_is_not_there_says_what_to_look_at():
    spec = ModbusSpec("loop", RtuConnection("/dev/no-such-port"), 0, "int16")
    with pytest.raises(InstrumentFault, match="nothing can be reached at /dev/no-such-port"):
        opened(spec)
