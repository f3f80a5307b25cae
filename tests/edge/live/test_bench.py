from __future__ import annotations

import math
import re
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from nozzlewright.bench import BenchConditions, DropWindow
from nozzlewright.edge import wiring
from nozzlewright.edge.intake.live import (
    Link,
    LiveBench,
    ModbusInstrument,
    ModbusSpec,
    finish_recording,
    unfinished_recordings,
)
from nozzlewright.edge.intake.live import analyst as analyst_module
from nozzlewright.edge.intake.live.analyst import Analyst
from nozzlewright.edge.intake.live.bench import MOST_WAITING, RING_SAMPLES
from nozzlewright.edge.intake.live.modbus import TcpConnection
from nozzlewright.edge.intake.live.scale import Scale
from nozzlewright.errors import InstrumentFault, NotAllowed, RecordingFault
from nozzlewright.measurement import Quantity
from nozzlewright.simulator import random_session
from nozzlewright.workflow.live_reading import WatchState

BAR = 1e5


class Played:
    """Plays samples by the clock, faster where asked to; may be unplugged."""

    name = "played gauge"

    def __init__(self, time_s=None, pressure_pa=None, speed=1.0):
        self.time_s = np.arange(600_000) / 1000.0 if time_s is None else time_s
        self.pressure_pa = (
            1e7 + 1e6 * np.sin(6.0 * self.time_s) if pressure_pa is None else pressure_pa
        )
        self.speed = speed
        self.plugged = True
        self.opened = self.asked = 0
        self.upto_s = math.inf
        """Where it waits."""
        self._began = self._place = None

    def open(self):
        if not self.plugged:
            raise InstrumentFault("the plug is out; look at the plug")
        self.opened += 1
        if self._began is None:
            self._began, self._place = time.monotonic(), 0

    def read(self):
        self.asked += 1
        time.sleep(0.002)
        if not self.plugged:
            raise InstrumentFault("the plug was pulled; look at the plug")
        now = min((time.monotonic() - self._began) * self.speed, self.upto_s)
        upto = int(np.searchsorted(self.time_s, now))
        part = slice(self._place, upto)
        self._place = upto
        return list(
            zip(
                (self._began + self.time_s[part]).tolist(),
                self.pressure_pa[part].tolist(),
                strict=True,
            )
        )

    def close(self):
        pass


@pytest.fixture(scope="module")
def analyst(tmp_path_factory):
    one = Analyst()
    # Once through a hold, so that no test's time is its start's.
    path = tmp_path_factory.mktemp("warm") / "hold.csv"
    rows = (f"{k / 100:.2f},{180.0 * 0.999**k:.4f}" for k in range(1000))
    path.write_text("\n".join(["time_s,pressure_bar", *rows, ""]), encoding="utf-8")
    recording, _ = one.read(path, BenchConditions(window=DropWindow(150e5, 100e5)), None)
    assert len(recording) == 1000
    yield one
    one.close()


@pytest.fixture
def make(tmp_path, analyst):
    benches = []

    def bench(instrument, name="bench 1"):
        one = LiveBench(
            name, lambda: instrument, tmp_path, lambda: datetime.now(UTC), analyst=analyst
        )
        benches.append(one)
        one.start()
        wait_for(lambda: one.status().instrument)
        return one

    yield bench
    for one in benches:
        one.stop()


def wait_for(what, seconds=120.0):
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if found := what():
            return found
        time.sleep(0.01)
    raise AssertionError("it did not come")


def wait_until_played(instrument, bench):
    wait_for(lambda: instrument._place == instrument.time_s.size)
    # A reading is handed on before the next one is asked for.
    asked = instrument.asked
    wait_for(lambda: instrument.asked > asked + 1)
    return bench


# -- status ------------------------------------------------------------------------------------


def test_a_bench_that_is_read_shows_rate_jitter_and_pressure(make):
    bench = make(Played())
    status = wait_for(
        lambda: (s := bench.status()).latest_pa and s.timing and s.timing.samples > 500 and s
    )

    assert status.bench == "bench 1"
    assert status.instrument == "played gauge"
    assert status.rate_hz == pytest.approx(1000.0, rel=0.01)
    assert status.jitter_s < 1e-4
    assert 0.89e7 < status.latest_pa < 1.11e7
    assert status.reason == ""
    assert status.recording_id is None


def test_a_bench_that_is_not_read_says_so(tmp_path, analyst):
    bench = LiveBench("b", Played, tmp_path, lambda: datetime.now(UTC), analyst=analyst)
    assert bench.status().link is Link.STOPPED
    assert bench.status().reason
    with pytest.raises(NotAllowed, match="is not being read"):
        bench.start_recording("a", BenchConditions())


def test_a_lost_instrument_is_named_and_comes_back_by_itself(make):
    played = Played()
    bench = make(played)
    wait_for(lambda: bench.status().connected)
    since = bench.status().since
    played.plugged = False
    lost = wait_for(lambda: (s := bench.status()).link is Link.LOST and s)

    assert lost.reason == "the plug was pulled; look at the plug"
    assert lost.since >= since
    assert lost.latest_pa is None
    assert lost.rate_hz is None
    wait_for(lambda: "the plug is out" in bench.status().reason)
    played.plugged = True
    back = wait_for(lambda: (s := bench.status()).connected and s)
    assert back.since > lost.since
    assert played.opened == 2


def test_an_instrument_that_fails_in_an_unforeseen_way_does_not_end_the_bench(make):
    class Odd(Played):
        def read(self):
            if self.opened < 2:
                raise KeyError("odd")
            return super().read()

    bench = make(Odd())
    assert "not foreseen" in wait_for(
        lambda: bench.status().reason if bench.status().link is Link.LOST else ""
    )
    wait_for(lambda: bench.status().connected)


# -- screens -----------------------------------------------------------------------------------


def test_batches_come_at_most_sixty_times_a_second_and_hold_every_sample(make, at_best):
    played = Played()
    bench = make(played)
    got = []
    unsubscribe = bench.subscribe(got.append)
    wait_for(lambda: len(got) > 5)

    def seconds_a_batch():
        first, count = time.monotonic(), len(got)
        time.sleep(1.0)
        rate = (len(got) - count) / (time.monotonic() - first)
        return 1.0 / max(rate, 1e-3)

    assert at_best(seconds_a_batch, 1.0 / 20.0) < 1.0 / 20.0
    unsubscribe()
    time.sleep(0.05)  # one may be on its way
    after = len(got)
    time.sleep(0.1)

    assert len(got) == after
    assert bench.status().connected
    times = np.concatenate([one.time_s for one in got])
    assert len(got) <= 61.0 * (times[-1] - times[0]) + 2
    assert np.diff(times) == pytest.approx(np.full(times.size - 1, 1e-3), abs=1e-6)
    assert all(one.dropped == 0 for one in got)
    assert got[0].time_s.dtype == np.float64


def test_a_slow_screen_loses_the_oldest_is_told_and_holds_up_nobody(make):
    bench = make(Played())
    held, seen, others = threading.Event(), [], []

    def slow(batch):
        seen.append(batch)
        if len(seen) == 1:
            held.wait(60.0)

    bench.subscribe(slow)
    bench.subscribe(others.append)
    wait_for(lambda: len(others) > MOST_WAITING + 20)
    held.set()
    wait_for(lambda: len(seen) > MOST_WAITING)

    lost = sum(one.dropped for one in seen)
    assert lost > 0
    times = np.concatenate([one.time_s for one in seen])
    assert round((times[-1] - times[0]) * 1000) + 1 == times.size + lost
    assert all(one.dropped == 0 for one in others)
    timing = bench.status().timing
    assert timing.gaps == 0


def test_a_screen_that_fails_gets_no_more_and_harms_nobody(make, caplog):
    bench = make(Played())
    calls, others = [], []

    def broken(_):
        calls.append(1)
        raise ValueError("gone")

    bench.subscribe(broken)
    bench.subscribe(others.append)
    wait_for(lambda: len(others) > 10 and "subscriber failed" in caplog.text)
    assert len(calls) == 1


def test_a_screen_that_is_opened_later_gets_the_last_minute(make):
    bench = make(Played())
    wait_for(lambda: bench.recent().time_s.size > 300)
    recent = bench.recent(200)
    assert recent.time_s.size == 200
    assert np.diff(recent.time_s) == pytest.approx(np.full(199, 1e-3), abs=1e-6)
    assert recent.zero_s is None


# -- recordings --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def drawn():
    return random_session(np.random.default_rng([7, 1]), "worn guide")


def test_a_session_is_recorded_marked_and_read_while_it_happens(make, drawn, tmp_path):
    played = Played(drawn.session.time_s, drawn.session.pressure_pa, speed=1e6)
    played.upto_s = 0.0
    bench = make(played)
    bench.start_recording("as-found-1", drawn.conditions, None)
    bench.start_recording("as-found-1", drawn.conditions, None)  # a repeated tap
    states, early, end_s = set(), None, played.time_s[-1]
    for upto_s in (*np.arange(0.25, end_s, 0.25), math.inf):
        played.upto_s = upto_s
        count = np.searchsorted(played.time_s, upto_s)
        wait_for(lambda count=count: bench.trace()[0].size == count)
        wait_for(lambda: bench.live().marks.latest_s == bench.trace()[0][-1])
        states.add(bench.live().marks.drop.state)
        if early is None and upto_s > 0.5 * end_s:
            early = wait_for(lambda: (seen := bench.live()).findings and seen)
    live, status, trace = bench.live(), bench.status(), bench.trace()
    done = bench.stop_recording()

    assert early.recording_id == "as-found-1"
    assert 0.0 < early.as_of_s < played.time_s[-1]
    assert states == set(WatchState)
    assert live.samples == status.samples == len(done.recording) == trace[0].size
    assert live.marks.drops
    assert done.path == tmp_path / "as-found-1.csv"
    assert done.digest == done.recording.digest == done.findings.digest
    assert not done.recording.time_s.flags.writeable
    read = wiring.read_file(done.path)
    assert len(read.findings.openings) == len(done.findings.openings)
    assert done.findings.hold.drop_time_as_shown.value == pytest.approx(
        live.marks.drops[-1].seconds, rel=0.005, abs=0.02
    )
    assert done.timing.interval_s == pytest.approx(1e-3, rel=0.01)
    assert bench.live().recording_id is None
    # A repeated tap on stop gives the same again; a stop of nothing is refused.
    assert bench.stop_recording("as-found-1") is done
    with pytest.raises(NotAllowed, match="no recording is in progress"):
        bench.stop_recording()
    with pytest.raises(NotAllowed, match="already"):
        bench.start_recording("as-found-1", drawn.conditions)


def test_findings_of_the_finished_recording_are_those_of_the_command_read(make, drawn, tmp_path):
    from nozzlewright.edge.intake import read_conditions
    from nozzlewright.edge.intake.conditions_text import conditions_text

    bench_file = tmp_path / "bench.toml"
    bench_file.write_text(conditions_text(drawn.conditions, "x"), encoding="utf-8")
    text = bench_file.read_text("utf-8")
    if drawn.conditions.blank_plug is not None:
        text = "\n".join(line for line in text.splitlines() if not line.startswith("recording"))
        bench_file.write_text(text, "utf-8")
    conditions = read_conditions(bench_file)
    played = Played(drawn.session.time_s, drawn.session.pressure_pa, speed=20.0)
    bench = make(played)
    bench.start_recording("r", conditions)
    wait_until_played(played, bench)
    done = bench.stop_recording()

    assert done.findings == wiring.read_file(done.path).findings
    assert isinstance(done.findings.hold.drop_time_as_shown, Quantity)


def test_only_one_recording_at_a_time(make):
    bench = make(Played())
    wait_for(lambda: bench.status().connected)
    bench.start_recording("one", BenchConditions())
    with pytest.raises(NotAllowed, match="'one' is in progress at bench 1"):
        bench.start_recording("two", BenchConditions())
    with pytest.raises(NotAllowed, match="the recording 'one' is in progress"):
        bench.stop_recording("two")
    wait_for(lambda: bench.status().samples)
    bench.stop_recording("one")
    bench.start_recording("two", BenchConditions())


def test_a_recording_with_nothing_in_it_is_a_fault_and_no_dead_end(make):
    played = Played()
    played.plugged = False
    bench = make(played)
    wait_for(lambda: bench.status().link is Link.LOST)
    bench.start_recording("empty", BenchConditions())
    assert bench.status().recording_id == "empty"
    with pytest.raises(RecordingFault, match="no readings under it"):
        bench.stop_recording()
    played.plugged = True
    wait_for(lambda: bench.status().connected)
    bench.start_recording("next", BenchConditions())
    wait_for(lambda: bench.status().samples > 50)
    assert len(bench.stop_recording().recording) > 50


FULL = """
import resource, signal, sys, time
from datetime import UTC, datetime
from pathlib import Path
from nozzlewright.bench import BenchConditions
from nozzlewright.edge.intake.live import LiveBench
from nozzlewright.errors import RecordingFault

class Steady:
    name = "steady gauge"
    def open(self): self.at = time.monotonic()
    def close(self): pass
    def read(self):
        time.sleep(0.01)
        now, was, self.at = time.monotonic(), self.at, time.monotonic()
        return [(was + k * (now - was) / 10, 1e7 + 1e4 * k) for k in range(10)]

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
_, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
if __name__ == "__main__":
    bench = LiveBench("bench 1", Steady, Path(sys.argv[1]), lambda: datetime.now(UTC))
    bench.start()
    until = time.monotonic() + 100.0
    def wait_for(what):
        while not what() and time.monotonic() < until:
            time.sleep(0.01)
    wait_for(lambda: bench.status().instrument)
    bench.start_recording("full", BenchConditions())
    wait_for(lambda: bench.status().on_disk > 500)
    resource.setrlimit(resource.RLIMIT_FSIZE, (5000, hard))
    wait_for(lambda: bench.status().disk_fault)
    try:
        bench.stop_recording("full")
    except RecordingFault as fault:
        print("refused:", fault)
    status = bench.status()
    print("status:", status.recording_id, bool(status.disk_fault), status.samples > status.on_disk)
    resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
    print("samples:", len(bench.stop_recording("full").recording))
    print("closed:", bench.status().recording_id)
    bench.stop()
"""


def test_a_recording_that_cannot_be_closed_stays_in_progress_until_there_is_room(tmp_path):
    script = tmp_path / "full.py"
    script.write_text(FULL)
    (tmp_path / "recordings").mkdir()
    run = subprocess.run(
        [sys.executable, str(script), str(tmp_path / "recordings")],
        capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip
    refused, status, samples, closed = run.stdout.splitlines()
    assert refused.startswith("refused:")
    assert status == "status: full True True"
    assert int(samples.partition(": ")[2]) > 500
    assert closed == "closed: None"


def test_a_recording_goes_on_when_the_instrument_comes_back_and_shows_the_gap(make):
    played = Played()
    bench = make(played)
    got = []
    bench.subscribe(got.append)
    wait_for(lambda: bench.status().connected)
    bench.start_recording("gap", BenchConditions())
    wait_for(lambda: bench.status().samples > 200)
    played.plugged = False
    wait_for(lambda: bench.status().link is Link.LOST)
    held = bench.status()
    time.sleep(0.3)
    played.plugged = True
    wait_for(lambda: bench.status().samples > held.samples + 200)
    done = bench.stop_recording()

    assert held.recording_id == "gap"
    assert held.gaps == 1
    assert "drop-out" in {one.name for one in done.findings.cautions}
    assert "\nNaN" not in done.path.read_text()
    assert done.path.read_text().count(",NaN\n") == 1
    # The screen sees the gap too: a sample that is no number.
    marks = [one for one in got if np.isnan(one.pressure_pa).any()]
    assert len(marks) == 1
    assert marks[0].zero_s is not None


def test_a_stopped_program_leaves_a_recording_that_can_be_finished_later(make, drawn, tmp_path):
    bench = make(Played())
    wait_for(lambda: bench.status().connected)
    bench.start_recording("left", BenchConditions())
    wait_for(lambda: bench.status().samples > 300)
    assert unfinished_recordings(tmp_path) == []
    bench.stop()
    (left,) = unfinished_recordings(tmp_path)
    done = finish_recording(left.path, BenchConditions(), analyst=bench._analyst)

    assert left.samples > 300
    assert done.path == tmp_path / "left.csv"
    assert len(done.recording) == left.samples
    assert unfinished_recordings(tmp_path) == []


def test_four_benches_side_by_side_do_not_mix(make, tmp_path):
    level = [1e7, 1.5e7, 2e7, 2.5e7]
    benches = []
    for k, pressure in enumerate(level):
        played = Played(pressure_pa=np.full(600_000, pressure))
        benches.append(make(played, name=f"bench {k}"))
    for k, bench in enumerate(benches):
        wait_for(lambda b=bench: b.status().connected)
        bench.start_recording(f"r{k}", BenchConditions())
    for bench in benches:
        wait_for(lambda b=bench: b.status().samples > 300)
    for pressure, bench in zip(level, benches, strict=True):
        done = bench.stop_recording()
        assert set(done.recording.pressure_pa.tolist()) == {pressure}
        assert len(done.recording) > 300


# -- the analyst -------------------------------------------------------------------------------


def test_an_analyst_that_dies_is_started_again_and_gets_all_of_it_again(make, analyst):
    bench = make(Played(speed=3.0))
    bench.start_recording("x", BenchConditions(window=DropWindow(150e5, 100e5)))
    wait_for(lambda: bench.live().findings)
    analyst._process.kill()
    analyst._process.join()
    reached = bench.live().as_of_s or 0.0
    later = wait_for(
        lambda: (s := bench.live()).findings and (s.as_of_s or 0) > reached + 2.0 and s
    )

    # From the beginning, not from where it died.
    readings = int(re.match(r"(\d+) readings over", later.findings.history[0])[1])
    assert readings == pytest.approx(1000.0 * later.as_of_s, rel=0.01)
    assert len(bench.stop_recording().recording) >= readings


def test_where_the_analyst_cannot_be_had_a_finished_recording_is_read_all_the_same(
    make, monkeypatch
):
    bench = make(Played())
    wait_for(lambda: bench.status().connected)
    bench.start_recording("y", BenchConditions())
    wait_for(lambda: bench.status().samples > 100)
    monkeypatch.setattr(analyst_module, "PATIENCE_S", 0.0)
    assert len(bench.stop_recording().recording) > 100


# -- a real server -----------------------------------------------------------------------------


def test_a_modbus_server_that_goes_and_comes_back_leaves_one_gap(make, registers):
    with registers.tcp_device() as (port, device):
        device.registers[0] = 1500
        spec = ModbusSpec(
            "transmitter", TcpConnection("127.0.0.1", port), 0, "uint16",
            period_s=0.002, scale=Scale(0.1 * BAR),
        )  # fmt: skip
        bench = make(ModbusInstrument(spec))
        wait_for(lambda: bench.status().connected)
        bench.start_recording("m", BenchConditions())
        wait_for(lambda: bench.status().samples > 100)
        device.stop()
        lost = wait_for(lambda: (s := bench.status()).link is Link.LOST and s)
        assert "look at its supply, the network lead or Wi-Fi" in lost.reason
        device.registers[0] = 1600
        device.start()
        wait_for(lambda: bench.status().connected)
        count = bench.status().samples
        wait_for(lambda: bench.status().samples > count + 100)
        done = bench.stop_recording()

    assert set(np.round(done.recording.pressure_pa / BAR, 3).tolist()) == {150.0, 160.0}
    assert done.timing.longest_gap_s > 0.1
    assert "drop-out" in {one.name for one in done.findings.cautions}


# -- hours -------------------------------------------------------------------------------------


class Hours:
    """Gives a second of samples at each reading, without waiting for it to pass."""

    name = "hours"

    def __init__(self, rate_hz=250):
        self.second = 0
        self.rate_hz = rate_hz

    def open(self):
        self.step = [k / self.rate_hz for k in range(self.rate_hz)]

    def read(self):
        self.second += 1
        return [(self.second + one, 1e7 + one) for one in self.step]

    def close(self):
        pass


def resident_bytes():
    for line in Path("/proc/self/status").read_text("utf-8").splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) * 1024
    raise LookupError


@pytest.mark.slow
def test_eight_hours_of_samples_do_not_grow_the_program(make):
    hours = Hours()
    bench = make(hours)
    bench.subscribe(lambda _: None)
    wait_for(lambda: hours.second > 3600)
    base, start = resident_bytes(), hours.second
    wait_for(lambda: hours.second > start + 8 * 3600, 300.0)

    assert bench.recent().time_s.size == RING_SAMPLES
    # Eight hours would be 115 MB as two columns of numbers.
    assert resident_bytes() - base < 15e6
    assert bench.status().connected
