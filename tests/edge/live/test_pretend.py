"""The pretend bench as an instrument: by the clock, worked from elsewhere, and over real wires."""

from __future__ import annotations

import struct
import threading
import time
from pathlib import Path

import numpy as np
import pytest
import serial
from pymodbus.client import ModbusTcpClient
from pymodbus.exceptions import ModbusException

from nozzlewright.edge.intake.live.pretend import MOST_AT_ONCE_S, PretendInstrument
from nozzlewright.errors import InstrumentFault
from nozzlewright.simulator import (
    BleedStrokes,
    HoldAt,
    Idle,
    Release,
    SeatHold,
    SlowStrokes,
)

BAR = 1e5
pytestmark = pytest.mark.usefixtures("compiled_bench")


class Clock:
    """A clock that the test moves."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture(scope="module")
def servers(helper):
    return helper("edge/live/pretend_servers.py")


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def instrument(servers, clock):
    one = PretendInstrument(servers.pretend_bench(), timer=clock, rng=np.random.default_rng(3))
    one.open()
    return one


def after(instrument, clock, seconds, step=0.02):
    """Let the clock run, reading all the while."""
    found = []
    for _ in range(round(seconds / step)):
        clock.now += step
        found += instrument.catch_up()
    return np.array(found).T


def test_samples_come_at_the_sensor_s_rate_on_the_clock_it_was_opened_at(instrument, clock):
    t, p = after(instrument, clock, 2.0)

    assert len(t) == pytest.approx(2000, abs=2)
    assert np.diff(t) == pytest.approx(1e-3, abs=1e-9)
    assert t[0] == pytest.approx(1000.0, abs=2e-3)
    assert t[-1] <= clock.now
    assert np.abs(p).max() < 1 * BAR


def test_a_key_held_slowly_reads_the_opening_and_let_go_the_lever_comes_up(instrument, clock):
    instrument.hold_key()
    _, p = after(instrument, clock, 9.0)
    assert p.max() == pytest.approx(200 * BAR + 1.0 / 2.3e-5, rel=0.01)
    assert 0.0 < instrument.at_hand().lever < 1.0

    instrument.let_go()
    after(instrument, clock, 3.0)
    assert instrument.at_hand().lever == 0.0
    opened = openings(instrument)
    after(instrument, clock, 3.0)
    assert openings(instrument) == opened


def openings(instrument):
    with instrument.hands_on() as bench:
        return bench.openings


def test_a_brisk_key_makes_more_openings_in_the_same_time_than_a_slow_one(servers):
    counted = []
    for brisk in (False, True):
        clock = Clock()
        one = PretendInstrument(servers.pretend_bench(), timer=clock, rng=np.random.default_rng(3))
        one.open()
        one.hold_key(brisk)
        after(one, clock, 10.0)
        counted.append(openings(one))
    assert counted[1] > 2 * counted[0] > 10


def test_a_dragged_handle_is_followed_and_valves_do_what_they_say(instrument, clock):
    for place in (0.2, 0.4, 0.6, 0.8):
        instrument.work(lever=place)
        after(instrument, clock, 0.3)
        assert instrument.at_hand().lever == pytest.approx(place, abs=0.01)
    _, pumped = after(instrument, clock, 0.1)
    assert pumped[-1] > 50 * BAR

    instrument.work(valve_open=False)
    instrument.work(lever=1.0)
    _, held = after(instrument, clock, 0.5)
    assert instrument.at_hand().lever == pytest.approx(0.8, abs=0.01)
    assert held.max() <= pumped.max() + 0.5 * BAR

    instrument.work(released=True)
    _, let_off = after(instrument, clock, 1.5)
    assert let_off[-1] < 1 * BAR


def test_a_script_is_worked_through_a_whole_session_and_its_end_is_told(servers):
    one = PretendInstrument(servers.pretend_bench(), speed=25.0, rng=np.random.default_rng(3))
    one.open()
    one.play(
        (
            Idle(0.5),
            BleedStrokes(3, 70.0),
            SlowStrokes(3, 20.0, volume_m3=0.35e-6, push_share=0.7),
            SeatHold(20e5, 10.0),
            HoldAt(160e5, 10.0),
            Release(1.5),
        )
    )
    assert one.at_hand().playing
    found = []
    began = time.monotonic()
    while one.at_hand().playing:
        assert time.monotonic() - began < 120.0
        found += one.read()
    assert one.wait_until_played(0.1)
    t, p = np.array(found).T
    assert t[-1] - t[0] > 30.0
    with one.hands_on() as bench:
        holds = [note for note in bench.acts() if note.act == "held"]
    assert [hold.seconds for hold in holds] == pytest.approx([10.0, 10.0], abs=0.1)
    seat, drop = (hold.pressure_pa / BAR for hold in holds)
    assert seat == pytest.approx(p.max() / BAR - 20.0, abs=2.0)
    assert drop == pytest.approx(160.0, abs=2.0)
    assert p[-1] < 5 * BAR  # chilled by the release, the oil warms up in the shut line


def test_a_hand_at_the_lever_ends_the_script(instrument, clock):
    instrument.play((SlowStrokes(50),))
    after(instrument, clock, 1.0)
    instrument.work(lever=0.0)
    assert not instrument.at_hand().playing
    assert instrument.wait_until_played(0.0)


def test_time_in_which_nobody_read_is_a_gap_and_the_bench_stood_still(instrument, clock):
    after(instrument, clock, 1.0)
    clock.now += 30.0
    t = np.array(instrument.catch_up()).T[0]
    assert len(t) == pytest.approx(1000 * MOST_AT_ONCE_S, abs=2)
    assert clock.now - 1e-2 < t[-1] <= clock.now
    later, _ = after(instrument, clock, 0.1)
    assert later[0] == pytest.approx(t[-1] + 1e-3, abs=1e-6)
    with instrument.hands_on() as bench:
        assert bench.now_s == pytest.approx(1.0 + MOST_AT_ONCE_S + 0.1, abs=0.01)


def test_an_instrument_that_is_not_open_says_so(servers):
    one = PretendInstrument(servers.pretend_bench())
    with pytest.raises(InstrumentFault, match="not open"):
        one.read()
    one.open()
    one.close()
    with pytest.raises(InstrumentFault, match="not open"):
        one.read()


def test_a_reading_waits_less_than_the_50_ms_that_are_agreed(servers, at_best):
    one = PretendInstrument(servers.pretend_bench())
    one.open()
    one.hold_key(brisk=True)
    stamps = []

    def wait():
        waited = []
        for _ in range(60):
            began = time.perf_counter()
            stamps.extend(time_s for time_s, _ in one.read())
            waited.append(time.perf_counter() - began)
        return np.median(waited)

    assert at_best(wait, 0.02) < 0.02
    assert len(stamps) >= 500  # a sample each millisecond
    assert np.median(np.diff(stamps)) == pytest.approx(1e-3, rel=0.01)


def test_many_hands_at_once_break_nothing(servers):
    one = PretendInstrument(servers.pretend_bench(), speed=10.0)
    one.open()
    one.read()
    end = time.monotonic() + 1.0
    faults = []

    def mash(seed):
        rng = np.random.default_rng(seed)
        try:
            while time.monotonic() < end:
                what = rng.integers(5)
                if what == 0:
                    one.work(lever=float(rng.uniform()), released=bool(rng.integers(2)))
                elif what == 1:
                    one.hold_key(bool(rng.integers(2)))
                elif what == 2:
                    one.let_go()
                elif what == 3:
                    one.play((SlowStrokes(2),))
                else:
                    one.what_is_seen(), one.at_hand()
                time.sleep(0.001)
        except Exception as error:  # noqa: BLE001 - handed on to the test
            faults.append(error)

    threads = [threading.Thread(target=mash, args=(seed,)) for seed in range(4)]
    for thread in threads:
        thread.start()
    last = 0.0
    while any(thread.is_alive() for thread in threads):
        for t, p in one.read():
            assert t > last
            assert -10 * BAR < p <= 400 * BAR
            last = t
    assert not faults


# -- over real wires ------------------------------------------------------------------------------


def bar_of(client, *, inputs=False):
    ask = client.read_input_registers if inputs else client.read_holding_registers
    answer = ask(0, count=3, device_id=1)
    assert not answer.isError()
    high, low, current = answer.registers
    return struct.unpack(">f", struct.pack(">HH", high, low))[0], (current - 4000) / 16000 * 400


@pytest.fixture
def modbus(servers):
    with servers.modbus_pretend_bench() as (port, bench):
        client = ModbusTcpClient("127.0.0.1", port=port, timeout=3.0, retries=0)
        assert client.connect()
        yield port, bench, client
        client.close()


def test_the_bench_s_pressure_is_read_over_modbus_in_both_kinds_of_register(modbus):
    _, bench, client = modbus
    bench.hold_key(brisk=True)
    seen, moments = [], [0]
    end = time.monotonic() + 60.0
    # Every question is answered by the pressure of its moment, not by that of a batch: batches
    # are 100 a second.
    while (max(moments) < 200 or max(seen) < 195) and time.monotonic() < end:
        half, here = time.monotonic() + 0.5, []
        while time.monotonic() < half:
            as_float, as_current = bar_of(client, inputs=bool(len(here) % 2))
            assert as_current == pytest.approx(as_float, abs=0.02)
            here.append(as_float)
        moments.append(np.count_nonzero(np.diff(here)))
        seen += here
    assert 195 < max(seen) < 206
    assert max(moments) >= 200


def test_part_of_the_registers_is_answered_as_the_whole(modbus):
    _, bench, client = modbus
    bench.hold_key(brisk=True)
    time.sleep(1.0)
    bench.let_go()
    time.sleep(0.6)
    answer = client.read_holding_registers(2, count=1, device_id=1)
    assert (answer.registers[0] - 4000) / 40 == pytest.approx(bar_of(client)[0], abs=2.0)


def test_a_killed_modbus_server_comes_back_on_its_port_and_the_bench_has_worked_on(modbus):
    _, bench, client = modbus
    bar_of(client)
    with bench.hands_on() as worked:
        before = worked.now_s
    bench.kill()
    with pytest.raises((ModbusException, OSError)):
        bar_of(client)
    client.close()
    assert not client.connect()
    time.sleep(0.3)
    bench.start()
    assert client.connect()
    bar_of(client)
    with bench.hands_on() as worked:
        assert worked.now_s > before + 0.25


def test_a_silent_modbus_server_takes_questions_and_does_not_answer(modbus):
    _, bench, client = modbus
    bench.silent = True
    with pytest.raises(ModbusException):
        bar_of(client)
    bench.silent = False
    client.close()
    assert client.connect()
    bar_of(client)


def read_on(port):
    """Read what is still in the pipe, until the port is seen to be gone."""
    end = time.monotonic() + 60.0
    while time.monotonic() < end:
        port.readline()


def test_the_bench_s_pressure_is_read_line_by_line_and_a_pulled_plug_is_a_fault(servers):
    with servers.serial_pretend_bench() as (path, bench):
        with serial.Serial(path, 9600, timeout=10.0) as port:
            port.readline()
            bench.hold_key(brisk=True)
            lines = [port.readline() for _ in range(150)]
            bars = [float(line.split()[1]) for line in lines]
            assert all(line.startswith(b"P ") and line.endswith(b" bar\r\n") for line in lines)
            assert max(bars) > 150
            bench.kill()
            with pytest.raises(serial.SerialException):
                read_on(port)
        assert not Path(path).exists()
        bench.start()
        with serial.Serial(path, 9600, timeout=10.0) as port:
            port.readline()
            assert port.readline().startswith(b"P ")
