from __future__ import annotations

import dataclasses
from datetime import UTC, datetime
from functools import partial

import numpy as np
import pytest

from nozzlewright.analysis.gauge import gauge_correction
from nozzlewright.bench import (
    BenchConditions,
    CertificatePoint,
    DropWindow,
    Gauge,
    GaugeFindings,
    Hold,
)
from nozzlewright.edge import wiring
from nozzlewright.edge.intake import read_conditions, read_recording
from nozzlewright.edge.intake.conditions_text import conditions_text
from nozzlewright.edge.intake.evidence_text import recording_text
from nozzlewright.edge.intake.live.recorder import Recorder, as_recorded
from nozzlewright.measurement import NotMeasured, Quantity
from nozzlewright.simulator import random_session
from nozzlewright.workflow.live_reading import (
    GrowingTrace,
    LiveReading,
    OnlineMarks,
    WatchState,
)

BAR = 1e5
KINDS = ("sound", "worn guide", "leaking rig", "mains hum", "line ringing", "drop-outs", "jitter")


# -- the same answers as on the finished file --------------------------------------------------


def recorded_live(drawn, folder, *, share=0.1, chunk_s=0.017):
    """Stream a session in small pieces to disk and through the live reading."""
    (folder / "bench.toml").write_text(conditions_text(drawn.conditions, "what is known"), "utf-8")
    conditions = read_conditions(folder / "bench.toml")
    blank = None
    if drawn.blank is not None:
        path = folder / drawn.conditions.blank_plug.recording
        path.write_bytes(recording_text(drawn.blank.time_s, drawn.blank.pressure_pa))
        blank = read_recording(path)
    recorder = Recorder(folder, "session", instrument="pretend gauge", started_at=datetime.now(UTC))
    live = LiveReading(
        conditions,
        blank,
        as_recording=partial(as_recorded, source="session.csv", instrument="pretend gauge"),
        share=share,
    )
    time_s, pressure_pa = drawn.session.time_s, drawn.session.pressure_pa
    step = max(1, round(chunk_s / float(np.median(np.diff(time_s)))))
    marks = []
    for start in range(0, time_s.size, step):
        part = slice(start, start + step)
        live.add(*recorder.add(time_s[part] + 1234.5, pressure_pa[part]))
        if start % (20 * step) == 0:
            live.findings()
            marks.append(live.marks())
    recorder.finish()
    return recorder, live, marks


def differences(one, other, at="findings"):
    """Return where two findings differ, field by field."""
    if dataclasses.is_dataclass(one) and type(one) is type(other):
        return [
            found
            for field in dataclasses.fields(one)
            for found in differences(
                getattr(one, field.name), getattr(other, field.name), f"{at}.{field.name}"
            )
        ]
    if isinstance(one, tuple) and isinstance(other, tuple) and len(one) == len(other):
        return [
            found
            for k, (a, b) in enumerate(zip(one, other, strict=True))
            for found in differences(a, b, f"{at}[{k}]")
        ]
    return [] if one == other else [f"{at}: {one!r} / {other!r}"]


@pytest.fixture(scope="module", params=KINDS)
def streamed(request, tmp_path_factory):
    drawn = random_session(np.random.default_rng([7, KINDS.index(request.param)]), request.param)
    folder = tmp_path_factory.mktemp("live")
    recorder, live, marks = recorded_live(drawn, folder)
    return live, marks, wiring.read_file(recorder.finished_path), recorder


def test_the_last_live_reading_is_the_reading_of_the_file_on_disk(streamed):
    live, _, read, _ = streamed
    found = live.finish()

    # The digest belongs to the closed file, the first lines of history to its reader.
    alike = {"digest": "", "history": ()}
    assert differences(
        dataclasses.replace(found, **alike), dataclasses.replace(read.findings, **alike)
    ) == []  # fmt: skip
    assert found.history[0] == read.findings.history[2]
    assert found.history == read.findings.history[2:]
    assert isinstance(found.opening_pressure, Quantity)
    assert found.openings


def test_what_is_held_in_memory_is_what_stands_in_the_file(streamed):
    live, _, read, recorder = streamed
    time_s, pressure_pa = live.trace.view()
    sound = np.isfinite(pressure_pa)

    assert np.array_equal(read.evidence.time_s, time_s[sound])
    assert np.array_equal(read.evidence.pressure_pa, pressure_pa[sound])
    assert recorder.on_disk == time_s.size


def test_the_marks_agree_with_the_final_findings(streamed):
    live, _, read, _ = streamed
    marks, found = live.marks(), read.findings

    # A signal that is lost in the middle of strokes hides falls, or shows some that are none.
    lost = any(one.name == "drop-out" for one in found.cautions)
    assert len(marks.openings) == pytest.approx(
        len(found.openings), rel=0.03 if lost else 0.0, abs=1
    )
    lifts = [one.lift_off_pa for one in marks.openings]
    closings = [one.closing_pa for one in marks.openings]
    assert np.median(lifts) == pytest.approx(
        np.median([one.lift_off_pa for one in found.openings]), rel=0.003
    )
    assert np.median(closings) == pytest.approx(
        np.median([one.closing_pa for one in found.openings]), rel=0.02
    )
    assert marks.peak_pa == pytest.approx(max(lifts), rel=0.01)


def test_the_stopwatch_that_starts_itself_shows_the_time_that_is_read(streamed):
    live, _, read, _ = streamed
    hold = read.findings.hold
    seconds = hold.drop_time_as_shown.value
    own = [one for one in live.marks().drops if hold.start_s <= one.start_s <= hold.end_s]

    assert len(own) == 1
    assert own[0].state is WatchState.STOPPED
    assert own[0].seconds == pytest.approx(seconds, rel=0.005, abs=0.02)


def test_the_hold_is_named_while_it_lasts(streamed):
    _, marks, read, _ = streamed
    hold = read.findings.hold
    inside = [
        one
        for one in marks
        if one.latest_s and hold.start_s + 2.0 < one.latest_s < hold.end_s - 0.5
    ]

    assert len(inside) > 3
    assert all(one.hold is not None for one in inside)
    for one in inside[2:]:
        assert one.hold.start_s == pytest.approx(hold.start_s, abs=0.5)
        assert one.hold.elapsed_s == pytest.approx(one.latest_s - hold.start_s, abs=0.5)
        assert one.fall_pa_per_s > 0.0


# -- the bound on its time -----------------------------------------------------------------------


def test_readings_take_no_more_than_their_share_of_the_time(compiled_bench):
    drawn = random_session(np.random.default_rng(3), "sound")
    now = [0.0]
    live = LiveReading(drawn.conditions, share=0.1, timer=lambda: now[0])
    runs = []
    finish = live.finish

    def counted():
        runs.append(now[0])
        now[0] += 0.05  # what a reading is said to take here
        return finish()

    live.finish = counted
    time_s, pressure_pa = drawn.session.time_s, drawn.session.pressure_pa
    live.add(time_s[:5000], pressure_pa[:5000])
    for start in range(5000, 9000, 40):
        live.add(time_s[start : start + 40], pressure_pa[start : start + 40])
        now[0] += 0.04
        live.findings()

    assert 5 <= len(runs) <= 0.1 * now[0] / 0.05 + 1
    assert min(np.diff(runs)) >= 0.5


def test_nothing_new_is_not_read_again():
    live = LiveReading(BenchConditions())
    time_s = np.arange(2000) * 1e-3
    live.add(time_s, 1e5 * np.sin(time_s))
    first = live.findings()

    assert isinstance(first, GaugeFindings)
    assert live.findings() is first


def test_too_little_to_read_is_no_fault():
    live = LiveReading(BenchConditions(), as_recording=partial(as_recorded, source="x"))
    assert live.findings() is None
    live.add(np.array([0.0]), np.array([1e5]))
    assert live.findings() is None
    assert live.marks().latest_pa == 1e5


# -- marks one by one ------------------------------------------------------------------------------


def falling(tau_s, *, from_pa=180e5, seconds=30.0, rate_hz=1000.0, noise_pa=5e3, start_s=0.0):
    rng = np.random.default_rng(5)
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    pressure = from_pa * np.exp(-time_s / tau_s) + rng.normal(0.0, noise_pa, time_s.size)
    return start_s + time_s, pressure


def stream(marks, time_s, pressure_pa, step=17):
    for start in range(0, time_s.size, step):
        marks.add(time_s[start : start + step], pressure_pa[start : start + step])


WINDOW = DropWindow(150e5, 100e5)


@pytest.mark.parametrize("tau_s", [4.0, 15.0, 60.0])
@pytest.mark.parametrize("rate_hz", [20.0, 1000.0, 5000.0])
def test_the_stopwatch_runs_from_edge_to_edge_of_a_plain_decay(tau_s, rate_hz):
    # An exponential decay takes tau ln(from/to) between two pressures: elementary.
    marks = OnlineMarks(BenchConditions(window=WINDOW))
    stream(marks, *falling(tau_s, seconds=tau_s * 0.8, rate_hz=rate_hz))

    (drop,) = marks.marks().drops
    assert drop.seconds == pytest.approx(tau_s * np.log(1.5), rel=0.005, abs=0.02)
    assert drop.start_s == pytest.approx(tau_s * np.log(1.2), rel=0.01, abs=0.02)


def test_the_watch_counts_while_the_pressure_falls():
    marks = OnlineMarks(BenchConditions(window=WINDOW))
    time_s, pressure = falling(15.0, seconds=12.0)
    upto = np.searchsorted(time_s, 5.0)
    stream(marks, time_s[:upto], pressure[:upto])
    running = marks.marks()

    assert running.drop.state is WatchState.RUNNING
    assert running.drop.seconds == pytest.approx(5.0 - 15.0 * np.log(1.2), abs=0.15)
    assert running.fall_pa_per_s == pytest.approx(pressure[upto] / 15.0, rel=0.06)
    stream(marks, time_s[upto:], pressure[upto:])
    assert marks.marks().drop.state is WatchState.STOPPED


def test_a_stroke_in_the_middle_sends_the_watch_back_to_waiting_and_says_so():
    marks = OnlineMarks(BenchConditions(window=WINDOW))
    time_s, pressure = falling(15.0, seconds=5.0)
    stream(marks, time_s, pressure)
    stream(marks, *falling(15.0, from_pa=140e5, seconds=2.0, start_s=5.0))

    drop = marks.marks().drop
    assert drop.state is WatchState.WAITING
    assert drop.note == "the pump was moved before the lower edge was reached"


def test_a_release_stops_no_watch():
    marks = OnlineMarks(BenchConditions(window=WINDOW))
    time_s, pressure = falling(15.0, seconds=5.0)
    stream(marks, time_s, pressure)
    stream(marks, *falling(0.1, from_pa=float(pressure[-1]), seconds=2.0, start_s=5.0))

    assert marks.marks().drops == ()
    assert marks.marks().drop.note == "it was released before the lower edge was reached"
    assert marks.marks().hold is None


def test_an_edge_that_was_crossed_while_the_gauge_was_lost_gives_no_time():
    marks = OnlineMarks(BenchConditions(window=WINDOW))
    time_s, pressure = falling(15.0, seconds=12.0)
    edge = 15.0 * np.log(1.8)
    seen = np.abs(time_s - edge) > 1.5
    stream(marks, time_s[seen], pressure[seen])

    assert marks.marks().drops == ()
    assert marks.marks().drop.note == "the gauge was lost while the lower edge was crossed"


def test_the_watch_goes_by_the_gauges_certificate():
    # Shows 10 bar too much everywhere: the true edges stand 10 bar higher on the gauge.
    points = tuple(CertificatePoint(x * BAR, (x + 10.0) * BAR, 1e4) for x in (50, 100, 150, 200))
    gauge = Gauge(certificate=points)
    assert gauge_correction(gauge, "").correct_one(160e5) == pytest.approx(150e5)
    marks = OnlineMarks(BenchConditions(window=WINDOW, gauge=gauge))
    stream(marks, *falling(15.0, seconds=12.0))

    (drop,) = marks.marks().drops
    assert drop.seconds == pytest.approx(15.0 * np.log(160 / 110), rel=0.005)


def test_the_seat_hold_counts_only_near_its_pressure():
    known = BenchConditions(opening_target_pa=200e5, seat_margin_pa=20e5, seat_hold_s=10.0)
    near, far = OnlineMarks(known), OnlineMarks(known)
    stream(near, *falling(400.0, seconds=12.0))
    stream(far, *falling(400.0, from_pa=120e5, seconds=12.0))

    seat = near.marks().seat
    assert seat.target_pa == 180e5
    assert seat.in_place
    assert seat.done
    assert seat.elapsed_s == pytest.approx(12.0, abs=0.3)
    assert not far.marks().seat.in_place
    assert far.marks().seat.elapsed_s == 0.0


def test_without_window_and_margin_there_is_neither_watch_nor_seat():
    marks = OnlineMarks(BenchConditions())
    stream(marks, *falling(15.0, seconds=2.0))
    assert marks.marks().drop is None
    assert marks.marks().seat is None
    assert OnlineMarks(BenchConditions(seat_margin_pa=2e6)).marks().seat.target_pa is None


def test_marks_do_not_depend_on_how_the_samples_come_in_pieces(compiled_bench):
    drawn = random_session(np.random.default_rng(11), "sound")
    found = []
    for step in (7, 60, 5000):
        marks = OnlineMarks(drawn.conditions)
        stream(marks, drawn.session.time_s, drawn.session.pressure_pa, step)
        found.append(marks.marks())
    for other in found[1:]:
        assert len(other.openings) == pytest.approx(len(found[0].openings), abs=1)
        assert [one.seconds for one in other.drops] == pytest.approx(
            [one.seconds for one in found[0].drops], rel=0.002
        )


# -- memory ----------------------------------------------------------------------------------


def test_what_was_seen_of_a_growing_trace_stays_as_it_was():
    trace = GrowingTrace()
    trace.add(np.arange(3.0), np.ones(3))
    early = trace.view()
    for _ in range(200):
        trace.add(np.zeros(100), np.zeros(100))
    assert early[0].tolist() == [0.0, 1.0, 2.0]
    assert len(trace) == 20_003
    assert trace.view(20_000)[0].size == 3


def test_a_hold_that_is_not_measured_is_compared_as_such():
    # The comparison above tells a quantity from a value that is missing.
    assert differences(NotMeasured("a"), NotMeasured("b")) != []
    assert differences(Quantity(1.0, "s"), Quantity(1.0, "s")) == []
    assert differences(Hold(0, 1, 2, 3), Hold(0, 1, 2, 4)) == ["findings.end_pa: 3 / 4"]
