"""Sessions drawn at random at the pretend bench, read back, and held against their truth.

Each session draws an injector, a rig, an oil at 8 to 45 C, a sensor of 1 kHz and 14 bit and, half
the time, one fault. Each is read twice:

*honest*
    as a fitter would: conditions that differ from the truth by draws from their stated
    uncertainty, a gauge with an error within its class;
*known*
    with the gauge's error taken off and with the true fluid, temperature and rig.

What is left out of a comparison is left out by the kind of the session or by a caution that the
reading itself gave, and stands in this file with the reason and with what is asked instead.
"""

from __future__ import annotations

import json
import os
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from nozzlewright.analysis import read_trace
from nozzlewright.bench import (
    Adjustment,
    AsPrinted,
    BackLeakageDemand,
    Condition,
    FitterObservations,
    Gauge,
    Hold,
    NozzleGeometry,
    OpeningBand,
    SetInjector,
    SettingSheet,
    TestSitting,
)
from nozzlewright.capture import Recording
from nozzlewright.judging import GUARD_FACTOR, BenchTest, Outcome, judge_injector
from nozzlewright.measurement import Quantity
from nozzlewright.simulator import random_session

pytestmark = pytest.mark.slow

SESSIONS, CHUNKS = 240, 12
BAR = 1e5
PRINTED = AsPrinted("invented limit")

# The needle itself is not sound: there is no one pressure at which it opens.
UNSTEADY = {
    "sticking needle": "each lift-off is late by another friction: asked is that the interval "
    "holds the middle one",
    "drifting opening": "the pressure moves while it is measured: asked is the mean of the "
    "lift-offs in slow strokes",
    "weeping": "it passes oil before it lifts: asked is that it is named, or that nothing wrong is "
    "stated",
}
# The gauge cannot show it: asked is that the reading says so.
BLIND = {
    "clipped": "cut off",
    "slow gauge": "lags",
}
# Openings that the recording does not hold cannot be counted.
UNCOUNTABLE = {
    "clipped": "what is above the range is not in the recording",
    "slow gauge": "ten samples a second do not show an opening",
    "weeping": "flutters in the weep without falls that the ear would part",
}
LINE_END_S = 0.004
"""A needle at the end of a long line lifts two or three times in the few milliseconds in which the
wave runs to the gauge and back; nobody can part these by ear or gauge. On a ringing line, openings
that follow the last closing within this time count as one."""


SAMPLES_PER_OPENING = 5.0
"""From one opening to the next; at 1 kHz openings less than 5 ms apart cannot be told."""


def recorded(session, *, zero_pa=0.0, gain=0.0):
    kept = np.isfinite(session.pressure_pa)
    pressure = (session.pressure_pa[kept] - zero_pa) / (1.0 + gain)
    return Recording(session.time_s[kept], pressure, "session", "0" * 64)


def as_known(drawn):
    """Return the conditions with the true fluid, temperature and rig, and a perfect gauge."""
    setup, injector, told = drawn.setup, drawn.injector, drawn.conditions
    oil, rig = setup.oil, setup.rig

    def true(value, unit):
        return Quantity(value, unit, method="known")

    plug = told.blank_plug
    return replace(
        told,
        fluid=replace(
            told.fluid,
            viscosity_points=oil.viscosity_points,
            viscosity_relative_uncertainty=0.0,
            bulk_modulus_20c=true(oil.bulk_modulus_20c, "Pa"),
            pressure_viscosity=true(oil.pressure_viscosity, "1/Pa"),
        ),
        oil_temperature=true(setup.temperature_k, "K"),
        gauge=Gauge(time_constant_s=drawn.sensor.lag_s, range_pa=drawn.sensor.range_pa),
        rig=replace(
            told.rig,
            volume_m3=true(rig.volume_m3 + injector.volume_m3, "m^3"),
            wall_compliance=true(rig.wall_compliance, "m^3/Pa"),
        ),
        blank_plug=plug
        and replace(plug, volume_m3=true(rig.volume_m3 + rig.plug_volume_m3, "m^3")),
    )


def told(measured):
    if not isinstance(measured, Quantity):
        return {"missing": measured.reason}
    return {
        "value": measured.value,
        "u": measured.standard_uncertainty,
        "interval": measured.coverage_interval,
        "cautions": [one.name for one in measured.cautions],
    }


def fall_pa(opening):
    return opening["peak_pa"] - opening["minimum_pa"]


def distinct(openings, usual_pa, *, line_rings):
    """Count openings whose fall shows; on a line that rings, those of one burst as one.

    The needle of a sticking injector may lift early once and take a fall of less than a third of
    the usual, which is no pop.
    """
    seen = [one for one in openings if one["distinct"] and fall_pa(one) > usual_pa / 3.0]
    if not line_rings:
        return len(seen)
    count, last = 0, -np.inf
    for one in seen:
        count += one["time_s"] - last > LINE_END_S
        last = one["closing_time_s"]
    return count


def floats(session, stroke, openings):
    """Whether the needle floats in a stroke: the pressure swings without its coming to its seat.

    Whether that is one opening or many is a matter of words.
    """
    t, p = session.true_time_s, session.true_pressure_pa
    inside = (t > stroke["start_s"]) & (t < stroke["end_s"])
    for one in openings:
        inside &= (t < one["time_s"] - 0.002) | (t > one["closing_time_s"] + 0.008)
    samples = np.flatnonzero(inside)
    for reach in range(2, 11):
        ahead = samples[samples + reach < p.size] + reach
        here = ahead - reach
        drop = np.where(inside[ahead], p[here] - p[ahead], 0.0)
        if np.any(drop > np.maximum(1.5 * BAR, 0.015 * p[here])):
            return True
    return False


def too_quick(sensor, openings):
    """Whether openings follow one another within fewer samples than show a rise and a fall."""
    gaps = np.diff([one["time_s"] for one in openings])
    return sensor.rate_hz <= 1000.0 and bool(np.any(gaps * sensor.rate_hz < SAMPLES_PER_OPENING))


def shown_fall(drawn, window, hold):
    """Return the time in which the true pressure, as this gauge shows it, falls through a window.

    What is compared is thus the reading of the recording and not the gauge's error, which the
    time as shown has by its nature. Where two holds answer the window, it is that of the one that
    was read.
    """
    session, sensor = drawn.session, drawn.sensor
    truth = session.truth
    near = min(truth["holds"], key=lambda one: abs(one["start_s"] - hold.start_s))
    # The pump is at rest a little before its valve is shut, and the fall begins there.
    rests = max(one["end_s"] for one in truth["strokes"] if one["end_s"] <= near["start_s"])
    inside = (session.true_time_s >= rests) & (session.true_time_s <= near["end_s"])
    t = session.true_time_s[inside]
    p = session.true_pressure_pa[inside] * (1.0 + sensor.gain_error) + sensor.zero_error_pa
    if p[0] < window.from_pa or p[-1] > window.to_pa:
        return None
    order = np.argsort(p, kind="stable")
    high, low = np.interp([window.from_pa, window.to_pa], p[order], t[order])
    return float(low - high)


def sheet_of(**asked):
    nothing = dict.fromkeys(
        ("opening_new", "opening_used", "seat", "back_leakage", "chatter", "spray", "spread_pa")
    )
    return SettingSheet(
        title="invented", injector="invented", source="invented", invented=True,
        adjustment=Adjustment(), geometry=NozzleGeometry(), torques=(), washer="",
        **{**nothing, **asked},
    )  # fmt: skip


STEPS = (-4.0, -1.0, 0.0, GUARD_FACTOR, 2.0, 3.0)
"""How far the truth lies outside a limit, in standard uncertainties of the value; less than
nothing: inside."""


def verdicts(found, window, true_opening_pa, true_drop_s):
    """Return, for each test and step, the outcomes at a lower and at an upper limit."""
    sitting = TestSitting(found, FitterObservations())
    injector = SetInjector(1, "one", sitting, None)

    def judged(test, sheet):
        verdict = judge_injector(injector, sheet, Condition.USED, as_left=False)
        return str(verdict.of(test).outcome)

    def opening(lower, upper):
        band = OpeningBand(lower, upper, 0.5 * (lower + upper), PRINTED)
        return judged(BenchTest.OPENING, sheet_of(opening_used=band))

    def drop(**limit):
        demand = BackLeakageDemand(window, PRINTED, **limit)
        return judged(BenchTest.BACK_LEAKAGE, sheet_of(back_leakage=demand))

    out = {"opening": [], "drop": []}
    measured = found.opening_pressure
    if measured:
        for step in STEPS:
            away = step * measured.standard_uncertainty
            out["opening"] += [
                (step, opening(true_opening_pa + away, 3.0 * true_opening_pa)),
                (step, opening(0.1 * true_opening_pa, true_opening_pa - away)),
            ]
    measured = found.hold.drop_time_at_reference if isinstance(found.hold, Hold) else None
    if measured:
        low, high = measured.coverage_interval
        for step in STEPS:
            # A lopsided interval has a width of its own on either side.
            under, over = (measured.value - low) / 1.96, (high - measured.value) / 1.96
            out["drop"] += [
                (step, drop(at_least_s=true_drop_s + step * under)),
                (step, drop(at_most_s=true_drop_s - step * over)),
            ]
    return out


def round_trip(number):
    """Draw, read and judge one session; return what is compared, fit for JSON."""
    drawn = random_session(np.random.default_rng([1986, number]))
    truth, sensor, window = drawn.session.truth, drawn.sensor, drawn.conditions.window
    blank = drawn.blank and recorded(drawn.blank)
    found = read_trace(recorded(drawn.session), drawn.conditions, blank)
    off = {"zero_pa": sensor.zero_error_pa, "gain": sensor.gain_error}
    known = read_trace(
        recorded(drawn.session, **off),
        as_known(drawn),
        drawn.blank and recorded(drawn.blank, **off),
    )
    opening = truth["opening_pressure_with_friction_pa"]
    slow = {one["index"] for one in truth["strokes"] if one["kind"] == "slow"}
    lifts = [o["lift_off_pa"] for o in truth["openings"] if o["stroke"] in slow]
    at_reference = truth["drop_times"][0]["at_reference_s"]
    usual = float(np.quantile([fall_pa(o) for o in truth["openings"]] or [0.0], 0.75))
    if drawn.kind != "sticking needle":
        usual = 0.0
    counts = []
    for stroke in truth["strokes"]:
        mine = [one for one in truth["openings"] if one["stroke"] == stroke["index"]]
        read = sum(
            stroke["start_s"] - 0.02 <= one.time_s <= stroke["end_s"] + 0.02
            for one in found.openings
        )
        true = distinct(mine, usual, line_rings=drawn.kind == "line ringing")
        lost = floats(drawn.session, stroke, mine) or too_quick(sensor, mine)
        counts.append((stroke["kind"], true, read, lost))
    return {
        "number": number,
        "kind": drawn.kind,
        "blank": blank is not None,
        "true_opening_pa": opening,
        "true_slow_lifts_pa": float(np.mean(lifts)) if lifts else None,
        "gauge_error_pa": sensor.zero_error_pa + sensor.gain_error * opening,
        "permissible_pa": drawn.conditions.gauge.accuracy_class / 100.0 * sensor.range_pa,
        "opening": told(found.opening_pressure),
        "counts": counts,
        "cautions": [one.name for one in found.cautions],
        "true_shown_s": shown_fall(drawn, window, found.hold) if found.hold else None,
        "shown": told(found.hold.drop_time_as_shown) if found.hold else told(found.hold),
        "hold_cautions": [one.name for one in found.hold.cautions] if found.hold else [],
        "true_at_reference_s": at_reference,
        "at_reference": told(found.hold.drop_time_at_reference) if found.hold else told(found.hold),
        "at_reference_known": told(known.hold.drop_time_at_reference)
        if known.hold
        else told(known.hold),
        "verdicts": verdicts(found, window, opening, at_reference),
    }


@pytest.fixture(scope="session")
def chunk_of(tmp_path_factory, testrun_uid, compiled_bench):
    """Work out a chunk of sessions, once for all workers of a test run."""
    base = tmp_path_factory.getbasetemp()
    shared = base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base
    folder = shared / f"round-trip-{testrun_uid}"
    folder.mkdir(exist_ok=True)

    def rows(chunk):
        file = folder / f"{chunk}.json"
        try:
            (folder / f"{chunk}.claimed").touch(exist_ok=False)
        except FileExistsError:
            wait_for(file)
            return json.loads(file.read_text("utf-8"))
        worked = [round_trip(number) for number in range(chunk, SESSIONS, CHUNKS)]
        part = file.with_suffix(".part")
        part.write_text(json.dumps(worked), "utf-8")
        part.rename(file)
        return json.loads(file.read_text("utf-8"))

    return rows


def wait_for(file: Path, patience_s: float = 400.0) -> None:
    """Wait for a chunk that another worker has claimed."""
    until = time.monotonic() + patience_s
    while not file.exists():
        if time.monotonic() > until:
            pytest.fail(f"another worker claimed {file.name} and never wrote it")
        time.sleep(0.2)


@pytest.fixture(scope="session")
def sessions(chunk_of):
    return [row for chunk in range(CHUNKS) for row in chunk_of(chunk)]


def name(row):
    return f"session {row['number']}, {row['kind']}"


def allowed_opening_pa(row):
    return max(0.5 * BAR, 0.003 * row["true_opening_pa"])


def covers_opening(row):
    low, high = row["opening"]["interval"]
    return low <= row["true_opening_pa"] <= high


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_the_opening_pressure_comes_back_within_half_a_bar_or_three_per_mille(chunk_of, chunk):
    wrong = []
    for row in chunk_of(chunk):
        if row["kind"] in UNSTEADY or row["kind"] in BLIND:
            continue
        opening = row["opening"]
        if "value" not in opening:
            if any(true for _, true, _, _ in row["counts"]):
                wrong.append(f"{name(row)}: {opening['missing']}")
            continue
        error = opening["value"] - row["gauge_error_pa"] - row["true_opening_pa"]
        # Strokes in which the needle floated look slow: then the interval must hold the truth.
        lost = any(lost for *_, lost in row["counts"])
        if abs(error) > allowed_opening_pa(row) and not (lost and covers_opening(row)):
            wrong.append(f"{name(row)}: {error / BAR:+.2f} bar")
    assert wrong == []


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_a_needle_without_one_opening_pressure_is_not_given_a_wrong_one(chunk_of, chunk):
    for row in chunk_of(chunk):
        if row["kind"] not in UNSTEADY:
            continue
        opening = row["opening"]
        if "value" not in opening:
            assert row["kind"] == "weeping", name(row)
            continue
        shown = opening["value"] - row["gauge_error_pa"]
        right = abs(shown - row["true_opening_pa"]) <= allowed_opening_pa(row)
        if row["kind"] == "drifting opening":
            assert abs(shown - row["true_slow_lifts_pa"]) <= allowed_opening_pa(row), name(row)
        elif row["kind"] == "sticking needle":
            assert right or covers_opening(row), name(row)
        else:
            named = "weeping needle" in row["cautions"]
            assert right or named or covers_opening(row), name(row)


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_a_gauge_that_cannot_show_the_opening_is_said_not_to(chunk_of, chunk):
    for row in chunk_of(chunk):
        if row["kind"] not in BLIND:
            continue
        opening = row["opening"]
        if "value" in opening:
            # A slow gauge may still have caught it, within the interval that it states.
            assert row["kind"] == "slow gauge", name(row)
            assert covers_opening(row), name(row)
        else:
            assert BLIND[row["kind"]] in opening["missing"], name(row)


def counts_asked(row):
    """Strokes of a session whose openings can be counted, with their index."""
    for index, (kind, true, found, lost) in enumerate(row["counts"]):
        asked = row["kind"] not in UNCOUNTABLE and not lost
        # Hard strokes of a two-spring holder pass the second stage without closing; quick strokes
        # on a ringing line lift off again before the line is calm.
        asked &= row["kind"] != "two-spring" or kind != "hard"
        asked &= row["kind"] != "line ringing" or kind == "slow"
        # Openings are lost with their samples; none may be invented.
        asked &= row["kind"] != "drop-outs" or found > true
        if asked:
            yield index, kind, true, found


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_openings_per_stroke_come_back_exactly(chunk_of, chunk):
    wrong = [
        f"{name(row)}: stroke {index} ({kind}) {true}, found {found}"
        for row in chunk_of(chunk)
        for index, kind, true, found in counts_asked(row)
        if found != true
    ]
    assert wrong == []


def test_nearly_all_strokes_are_asked_for_their_openings(sessions):
    usual = [row for row in sessions if row["kind"] not in ("clipped", "slow gauge", "weeping")]
    asked = sum(len(list(counts_asked(row))) for row in usual)
    assert asked >= 0.9 * sum(len(row["counts"]) for row in usual)


def test_a_line_that_rings_is_named_where_quick_strokes_cannot_be_counted(sessions):
    ringing = [row for row in sessions if row["kind"] == "line ringing"]
    assert ringing
    for row in ringing:
        off = [one for one in row["counts"] if one[1] != one[2]]
        assert not off or "line ringing" in row["cautions"], name(row)


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_the_drop_time_as_shown_comes_back_within_half_a_per_cent(chunk_of, chunk):
    wrong = []
    for row in chunk_of(chunk):
        true, shown = row["true_shown_s"], row["shown"]
        if true is None:
            # Cut short: extrapolated with a caution, or nothing.
            assert "missing" in shown or "hold cut short" in shown["cautions"], name(row)
        elif "value" not in shown:
            wrong.append(f"{name(row)}: {shown['missing']}")
        elif "hold cut short" not in shown["cautions"] and abs(shown["value"] / true - 1) > 0.005:
            wrong.append(f"{name(row)}: {shown['value'] / true - 1:+.2%} of {true:.2f} s")
    assert wrong == []


def errors_at_reference(sessions, key):
    """Relative errors of the drop time at reference where rig and fluid were known.

    Without a blank-plug hold the rig is not known (the reading then says so). A hold that was cut
    short is extrapolated; air in the line is another rig than the one that was told; ten samples
    a second leave too few in a quick fall.
    """
    return {
        name(row): row[key]["value"] / row["true_at_reference_s"] - 1.0
        for row in sessions
        if row["blank"]
        and "value" in row[key]
        and row["true_shown_s"] is not None
        and row["kind"] not in ("trapped air", "empty line", "slow gauge", "hold cut short")
    }


def test_the_drop_time_at_reference_is_right_within_five_per_cent(sessions):
    errors = errors_at_reference(sessions, "at_reference_known")
    assert len(errors) >= 120
    within = np.mean([abs(error) <= 0.05 for error in errors.values()])
    worst = sorted(errors.items(), key=lambda item: -abs(item[1]))[:10]
    report = f"{within:.1%} of {len(errors)} within 5 %; worst: " + "; ".join(
        f"{where} {error:+.1%}" for where, error in worst
    )
    # The few others are quick falls, in which leak and heat have nearly one shape.
    assert within >= 0.95, report
    assert np.median(np.abs(list(errors.values()))) <= 0.02, report


def share_covered(row):
    """Return the share of all gauge errors within the class with which the interval holds.

    A gauge's error moves the opening pressure and its interval by itself and changes nothing
    else. So one session tells, without chance, what any error that the class allows (rectangular,
    EN 837-1) would have made of it.
    """
    value = row["opening"]["value"]
    low, high = (edge - value for edge in row["opening"]["interval"])
    own = value - row["gauge_error_pa"] - row["true_opening_pa"]
    most = row["permissible_pa"]
    # Held where low <= -(own + error) <= high.
    return max(0.0, min(most, -low - own) - max(-most, -high - own)) / (2.0 * most)


def test_intervals_of_the_opening_pressure_cover_the_truth_as_often_as_they_state(sessions):
    held = {
        name(row): share_covered(row)
        for row in sessions
        if row["kind"] not in UNSTEADY and "value" in row["opening"]
    }
    share = np.mean(list(held.values()))
    least = sorted(held.items(), key=lambda item: item[1])[:8]
    assert 0.92 <= share <= 0.98, f"{share:.1%} over {len(held)} sessions; least: {least}"


def test_intervals_of_the_drop_time_cover_the_truth_as_often_as_they_state(sessions):
    held = {
        name(row): row["at_reference"]["interval"][0]
        <= row["true_at_reference_s"]
        <= row["at_reference"]["interval"][1]
        for row in sessions
        if row["blank"] and "value" in row["at_reference"]
    }
    share = np.mean(list(held.values()))
    missed = [where for where, inside in held.items() if not inside]
    assert 0.92 <= share <= 0.98, f"{share:.1%} of {len(held)} cover; missed: {missed}"


@pytest.mark.parametrize("test", ["opening", "drop"])
def test_nothing_passes_whose_truth_lies_beyond_the_guard_band(sessions, test):
    # At the limit itself one pass in twenty is what the rule allows (ISO 14253-1, 95 %).
    def usable(row):
        return row["kind"] not in UNSTEADY and (test == "opening" or row["blank"])

    passed = {step: [] for step in STEPS}
    for row in filter(usable, sessions):
        for step, outcome in row["verdicts"][test]:
            passed[step].append((outcome == Outcome.PASS, name(row)))
    shares = {step: np.mean([one for one, _ in of]) for step, of in passed.items()}
    report = ", ".join(f"{step:+.2f} u: {share:.1%}" for step, share in shares.items())
    assert shares[0.0] <= 0.05, report
    for step in STEPS:
        if step >= GUARD_FACTOR:
            assert [where for one, where in passed[step] if one] == [], report
    # A rule that passes nothing would be no rule: well inside, most do.
    assert shares[-4.0] >= 0.9, report
