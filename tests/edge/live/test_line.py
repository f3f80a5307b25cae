from __future__ import annotations

import contextlib
import math
import os
import threading
import time
import tty
from dataclasses import replace

import numpy as np
import pytest

from nozzlewright.edge.intake.live.line import LineInstrument, LineSpec
from nozzlewright.edge.intake.live.scale import Scale
from nozzlewright.errors import InstrumentFault

BAR = 1e5
PATTERN = r"P\s*(?P<pressure>[-+]?\d+[.,]?\d*|OL)\s*(?P<unit>\S+)?"


@pytest.fixture
def port():
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    yield ours, os.ttyname(theirs)
    for end in (ours, theirs):
        with contextlib.suppress(OSError):
            os.close(end)


def opened(path, **more):
    spec = LineSpec("digital gauge", path, PATTERN, **{"scale": Scale(BAR), **more})
    instrument = LineInstrument(spec)
    instrument.open()
    return instrument


def samples(instrument, number, patience_s=60.0):
    found = []
    until = time.monotonic() + patience_s
    while len(found) < number and time.monotonic() < until:
        found += instrument.read()
    return found


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_one_reading_a_line_whatever_ends_it(port, end):
    ours, path = port
    instrument = opened(path)
    os.write(ours, f"P 175.3 x{end}noise{end}{end}P -0,5 x{end}P 1".encode())
    assert [one[1] for one in samples(instrument, 2)] == pytest.approx([175.3 * BAR, -0.5 * BAR])
    os.write(ours, f"77{end}".encode())
    assert samples(instrument, 1)[0][1] == pytest.approx(177 * BAR)
    instrument.close()


def test_a_line_that_is_spelled_with_its_unit_needs_no_other(port):
    ours, path = port
    instrument = opened(path, unit_stated=False, scale=Scale())
    os.write(ours, b"P 17.5 MPa\nP 100 kg/cm2\n")
    # 1 kgf/cm2 = 98066.5 Pa exactly (NIST SP 811:2008, B.8)
    assert [one[1] for one in samples(instrument, 2)] == pytest.approx([17.5e6, 9_806_650.0])
    os.write(ours, b"P 17.5 furlongs\n")
    with pytest.raises(InstrumentFault, match="furlongs"):
        samples(instrument, 1)
    instrument.close()


def test_a_reading_beyond_the_range_is_no_pressure(port):
    ours, path = port
    instrument = opened(path)
    os.write(ours, b"P OL\n")
    assert math.isnan(samples(instrument, 1)[0][1])
    instrument.close()


def test_lines_are_stamped_as_they_come(port, at_best):
    ours, path = port
    instrument = opened(path)

    def off():
        sent = []

        def send():
            for k in range(20):
                sent.append(time.monotonic())
                os.write(ours, f"P {k}.0 x\n".encode())
                time.sleep(0.02)

        thread = threading.Thread(target=send)
        thread.start()
        times = np.array([one[0] for one in samples(instrument, 20)])
        thread.join()
        return abs(np.median(times - np.array(sent)))

    assert at_best(off, 0.005) < 0.005
    instrument.close()


def test_lines_that_come_together_are_spread_over_the_time_since_the_last_look(port):
    ours, path = port
    instrument = opened(path)
    os.write(ours, b"P 1 x\n")
    samples(instrument, 1)
    began = time.monotonic()
    time.sleep(0.1)
    os.write(ours, b"P 2 x\nP 3 x\nP 4 x\nP 5 x\n")
    time.sleep(0.01)
    found = samples(instrument, 4)
    times = np.array([one[0] for one in found])
    assert [one[1] / BAR for one in found] == pytest.approx([2, 3, 4, 5])
    assert np.diff(times) == pytest.approx(np.full(3, np.diff(times)[0]))
    assert times[0] > began
    assert times[-1] - times[0] > 0.05
    instrument.close()


def test_an_instrument_that_has_to_be_asked_is_asked_for_each_line(port):
    ours, path = port
    instrument = opened(path, ask="?\r")
    heard = []

    def answer():
        for k in range(5):
            heard.append(os.read(ours, 100))
            os.write(ours, f"P {k} x\r\n".encode())

    thread = threading.Thread(target=answer, daemon=True)
    thread.start()
    assert [one[1] / BAR for one in samples(instrument, 5)] == pytest.approx([0, 1, 2, 3, 4])
    thread.join()
    assert heard == [b"?\r"] * 5
    instrument.close()


def test_an_answer_that_never_came_is_asked_for_again(port):
    ours, path = port
    instrument = opened(path, ask="?", silent_after_s=0.6)
    until = time.monotonic() + 0.5
    while time.monotonic() < until:
        assert instrument.read() in ((), [])
    assert os.read(ours, 10) == b"??"
    instrument.close()


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        (b"", "nothing has come from .* look at the instrument's supply"),
        (b"bar: 175\r\n", "does not fit, the last 'bar: 175'; look at pattern, baud and parity"),
        (b"\x80\xf0\x01 garbage", "no whole line .* look at baud"),
    ],
)
def test_silence_and_garbage_are_told_apart(port, sent, words):
    ours, path = port
    instrument = opened(path, silent_after_s=0.3)
    os.write(ours, sent)
    with pytest.raises(InstrumentFault, match=words):
        samples(instrument, 1)
    instrument.close()


def test_a_plug_that_is_pulled_is_a_lost_instrument(port):
    ours, path = port
    instrument = opened(path)
    os.write(ours, b"P 1 x\n")
    assert samples(instrument, 1)
    os.close(ours)
    with pytest.raises(InstrumentFault, match=r"is gone .* look at the plug"):
        samples(instrument, 1)
    instrument.close()


def test_a_port_that_is_not_there_or_not_open_says_so():
    with pytest.raises(InstrumentFault, match=r"cannot be opened .* look at the plug"):
        opened("/dev/no-such-port")
    with pytest.raises(InstrumentFault, match="is not open"):
        LineInstrument(LineSpec("x", "/dev/no-such-port", PATTERN)).read()


def test_what_was_sent_before_anybody_listened_is_no_reading_of_now(port):
    ours, path = port
    os.write(ours, b"P 999 x\n" * 5)
    instrument = opened(path)
    os.write(ours, b"P 3 x\n")
    assert [one[1] / BAR for one in samples(instrument, 1)] == pytest.approx([3])
    instrument.close()


def test_a_scale_holds_for_lines_too(port):
    ours, path = port
    instrument = opened(path, scale=replace(Scale(), factor_pa=2 * BAR, offset_pa=-BAR))
    os.write(ours, b"P 10 x\n")
    assert samples(instrument, 1)[0][1] == pytest.approx(19 * BAR)
    instrument.close()
