"""What a session shows and what its truth says."""

from __future__ import annotations

import csv
import io
import itertools
import json
import math
from dataclasses import replace

import numpy as np
import pytest

from nozzlewright.errors import InputFault
from nozzlewright.simulator import (
    KINDS,
    BenchSetup,
    BleedStrokes,
    FastStrokes,
    HardStrokes,
    HoldAt,
    Idle,
    InjectorModel,
    OilModel,
    Release,
    RigModel,
    SeatHold,
    SensorModel,
    SlowStrokes,
    random_session,
    simulate,
)

BAR = 1e5
QUIET = SensorModel(noise_pa=0.0, bits=None)
USUAL = (
    Idle(1.0),
    BleedStrokes(3),
    SlowStrokes(3),
    FastStrokes(4),
    SeatHold(20e5, 5.0),
    HoldAt(155e5, 10.0),
    Release(2.0),
)


def played(script=USUAL, *, setup=None, injector=None, sensor=QUIET, start=1, **more):
    return simulate(
        setup or BenchSetup(), injector or InjectorModel(), sensor, script,
        np.random.default_rng(start), **more,
    )  # fmt: skip


def strokes(session, kind):
    return [s for s in session.truth["strokes"] if s["kind"] == kind]


def openings(session, kind):
    mine = {s["index"] for s in strokes(session, kind)}
    return [o for o in session.truth["openings"] if o["stroke"] in mine]


def test_one_source_of_chance_gives_one_session():
    first, again, other = played(), played(), played(start=2)
    assert np.array_equal(first.pressure_pa, again.pressure_pa)
    assert first.truth_json() == again.truth_json()
    assert not np.array_equal(first.pressure_pa[:1000], other.pressure_pa[:1000]) or (
        first.truth != other.truth
    )


def test_acts_follow_one_another_and_the_release_empties_the_line():
    session = played()
    acts = session.truth["acts"]
    names = ["Idle", "BleedStrokes", "SlowStrokes", "FastStrokes", "SeatHold", "HoldAt", "Release"]
    assert [a["act"] for a in acts] == names
    for before, after in itertools.pairwise(acts):
        assert before["end_s"] == after["start_s"]
    assert session.time_s[-1] == pytest.approx(acts[-1]["end_s"], abs=2e-3)
    idle = session.true_pressure_pa[session.true_time_s < 1.0]
    assert np.abs(idle).max() == 0.0
    assert abs(session.true_pressure_pa[-1]) < 0.1 * BAR


def test_each_opening_of_the_truth_can_be_seen_in_the_pressure():
    session = played(sensor=replace(QUIET, rate_hz=20e3, lag_s=0.0))
    t, p = session.time_s, session.pressure_pa
    distinct = [o for o in session.truth["openings"] if o["distinct"]]
    assert len(distinct) == len(session.truth["openings"]) > 30
    for o in distinct:
        near = (t > o["time_s"] - 2e-3) & (t < o["closing_time_s"] + 2e-3)
        assert p[near].max() == pytest.approx(o["peak_pa"], abs=0.3 * BAR)
        assert p[near].min() == pytest.approx(o["minimum_pa"], abs=0.3 * BAR)
        stroke = session.truth["strokes"][o["stroke"]]
        assert stroke["start_s"] < o["time_s"]
    counted = sum(s["openings"] for s in session.truth["strokes"])
    assert counted == session.truth["openings_counted"]


def test_the_drop_seen_without_compression_heat_is_the_drop_by_quadrature():
    setup = BenchSetup(RigModel(compression_heat=False, leak_conductance=3e-17))
    for injector in (
        InjectorModel(diametral_clearance_m=5e-6),
        InjectorModel(diametral_clearance_m=4e-6, eccentricity=0.9, seat_leak_conductance=1e-16),
    ):
        session = played(
            (HoldAt(157e5, 60.0),), setup=setup, injector=injector, windows_pa=((150e5, 100e5),)
        )
        seen = session.truth["holds"][0]["as_dropped"][0]["drop_time_s"]
        worked_out = session.truth["drop_times"][0]["at_bench_with_rig_leak_s"]
        assert seen == pytest.approx(worked_out, rel=1e-4)


def test_compression_heat_hurries_the_first_seconds_of_a_hold_only():
    injector = InjectorModel(diametral_clearance_m=2.5e-6)
    rates = []
    for heat in (True, False):
        rig = RigModel(thermal_time_s=3.0, compression_heat=heat)
        script = (HoldAt(155e5, 40.0, strokes_per_min=90.0),)
        session = played(script, setup=BenchSetup(rig), injector=injector)
        start = session.truth["holds"][0]["start_s"]
        at = start + np.array([0.0, 1.0, 25.0, 26.0])
        logs = np.log(np.interp(at, session.true_time_s, session.true_pressure_pa))
        rates.append((logs[0] - logs[1], logs[2] - logs[3]))
    (early_hot, late_hot), (early, late) = rates
    assert early_hot > 2.0 * early
    assert late_hot == pytest.approx(late, rel=0.1)


def test_a_warm_thin_oil_drops_faster_than_the_reference_and_a_cold_one_slower():
    times = {}
    for celsius in (10.0, 40.0, 45.0):
        setup = BenchSetup(RigModel(), OilModel(), 273.15 + celsius)
        session = played((HoldAt(120e5, 1.0),), setup=setup, windows_pa=((150e5, 100e5),))
        times[celsius] = session.truth["drop_times"][0]
    assert times[10.0]["at_bench_s"] > 1.5 * times[40.0]["at_bench_s"] > times[45.0]["at_bench_s"]
    references = {t["at_reference_s"] for t in times.values()}
    assert max(references) == pytest.approx(min(references), rel=1e-12)
    assert times[40.0]["at_reference_s"] == pytest.approx(times[40.0]["at_bench_s"], rel=1e-12)


def test_a_drop_time_refers_to_the_compliance_that_the_sheet_names():
    plain, doubled = (
        played(
            (Idle(0.1),),
            setup=BenchSetup(reference_compliance=compliance),
            windows_pa=((150e5, 100e5),),
        ).truth["drop_times"][0]["at_reference_s"]
        for compliance in (1e-14, 2e-14)
    )
    assert doubled == pytest.approx(2.0 * plain, rel=1e-12)


def test_first_fill_strokes_bring_no_opening():
    setup = BenchSetup(RigModel(empty_volume_m3=3e-6, air_share=0.02))
    session = played((BleedStrokes(6, volume_m3=1e-6),), setup=setup)
    found = [s["openings"] for s in strokes(session, "bleed")]
    assert found[0] == found[1] == 0
    assert found[-1] > 0


def test_bleeding_at_a_slack_union_brings_no_opening_and_carries_air_out():
    setup = BenchSetup(RigModel(air_share=0.05, air_residual=0.001))
    script = (BleedStrokes(6, union_slack=True), HoldAt(100e5, 1.0))
    session = played(script, setup=setup)
    assert all(s["openings"] == 0 for s in strokes(session, "bleed"))
    end = max(s["end_s"] for s in strokes(session, "bleed"))
    assert session.true_pressure_pa[session.true_time_s < end].max() < 20e5
    assert session.truth["holds"][0]["air_share"] < 0.03


def test_a_worn_seat_weeps_at_a_plateau_without_a_pop():
    worn = InjectorModel(seat_width_m=0.0, weep_area_m2=1e-8)
    script = (SlowStrokes(4, 20.0, volume_m3=0.8e-6),)
    weeping, sound = played(script, injector=worn), played(script)
    assert sum(s["distinct_openings"] for s in strokes(weeping, "slow")) == 0
    assert sum(s["distinct_openings"] for s in strokes(sound, "slow")) > 10
    last = strokes(weeping, "slow")[-1]
    middle = 0.5 * (last["start_s"] + last["end_s"])
    inside = np.abs(weeping.true_time_s - middle) < 0.4
    assert np.ptp(weeping.true_pressure_pa[inside]) < 3 * BAR


def test_a_sticking_needle_opens_late_with_scatter_and_closes_late():
    sticking = InjectorModel(friction_n=30.0, friction_scatter=0.4)
    script = (SlowStrokes(4),)
    stuck = openings(played(script, injector=sticking), "slow")
    free = openings(played(script), "slow")

    def column(rows, name):
        return np.array([o[name] for o in rows]) / BAR

    assert column(stuck, "lift_off_pa").mean() > column(free, "lift_off_pa").mean() + 8
    assert column(stuck, "lift_off_pa").std() > 2 > column(free, "lift_off_pa").std()
    assert column(stuck, "minimum_pa").mean() < column(free, "minimum_pa").mean() - 3


def test_a_drifting_opening_moves_from_pop_to_pop():
    script = (SlowStrokes(4),)
    rows = openings(played(script, injector=InjectorModel(opening_drift_pa=-0.1e5)), "slow")
    pressures = np.array([o["lift_off_pa"] for o in rows])
    assert np.diff(pressures) == pytest.approx(-0.1e5, abs=50.0)


def test_the_second_spring_shows_in_hard_strokes_only():
    two = InjectorModel(
        second_opening_lift_m=0.03e-3, second_preload_n=120.0, second_spring_rate=150e3
    )
    session = played((SlowStrokes(2), HardStrokes(2, volume_m3=3e-6)), injector=two)
    slow = [o["lift_m"] for o in openings(session, "slow")]
    hard = [o["lift_m"] for o in openings(session, "hard")]
    assert max(slow) < 0.05e-3
    assert max(hard) > 0.07e-3
    assert session.truth["second_opening_pressure_pa"] > 175e5


def test_with_the_blank_plug_only_the_rig_leaks():
    setup = BenchSetup(RigModel(compression_heat=False, leak_conductance=1e-16))
    session = simulate(
        setup, None, QUIET, (HoldAt(155e5, 60.0),), np.random.default_rng(3),
        windows_pa=((150e5, 140e5),),
    )  # fmt: skip
    seen = session.truth["holds"][0]["as_dropped"][0]["drop_time_s"]
    compliance = np.mean(
        [
            row["with_plug_m3_per_pa"]
            for row in session.truth["compliance"]
            if row["pressure_pa"] in (140e5, 150e5)
        ]
    )
    # Over so short a window the stiffness, and the Barus factor at its middle, hardly change.
    alpha = setup.oil.pressure_viscosity
    factor = -math.expm1(-alpha * 145e5) / (alpha * 145e5)
    conductance = session.truth["rig_conductance_m3_per_s_pa"] * factor
    assert seen == pytest.approx(compliance / conductance * math.log(150 / 140), rel=2e-3)
    assert session.truth["openings"] == []


def test_a_seat_hold_with_the_blank_plug_is_refused():
    with pytest.raises(InputFault, match="seat hold"):
        simulate(BenchSetup(), None, QUIET, (SeatHold(),), np.random.default_rng(1))


def test_a_hold_above_the_opening_is_flagged_as_not_reached():
    session = played((HoldAt(200e5, 1.0),))
    assert session.truth["flags"] == ["hold pressure not reached"]


def test_impossible_parts_are_refused_with_all_faults_together():
    with pytest.raises(InputFault) as refused:
        InjectorModel(seat_diameter_m=7e-3, spring_rate=0.0, eccentricity=2.0)
    assert len(refused.value.faults) == 3


@pytest.mark.parametrize(
    ("sensor", "error_bar"),
    [
        pytest.param(SensorModel(noise_pa=0.2e5, bits=None), 0.2, id="noise"),
        pytest.param(SensorModel(noise_pa=0.0, bits=10), 400 / 2**10 / math.sqrt(12), id="10 bit"),
        pytest.param(
            SensorModel(noise_pa=0.0, bits=None, hum_pa=1e5), 1 / math.sqrt(2), id="hum of 1 bar"
        ),
        pytest.param(
            SensorModel(noise_pa=0.0, bits=None, zero_error_pa=1e5, gain_error=0.0),
            1.0,
            id="zero off by 1 bar",
        ),
    ],
)
def test_the_sensor_adds_the_error_that_it_is_given(sensor, error_bar):
    session = played((HoldAt(155e5, 30.0),), sensor=sensor)
    hold = session.time_s > session.truth["holds"][0]["start_s"] + 0.1
    off = (session.pressure_pa - session.true_pressure_pa)[hold] / BAR
    assert math.sqrt(np.mean(off**2)) == pytest.approx(error_bar, rel=0.04)


def test_a_sensor_clips_at_its_range_and_says_how_often():
    session = played((SlowStrokes(2),), sensor=replace(QUIET, range_pa=170e5))
    assert session.pressure_pa.max() == 170e5
    clipped = session.truth["sensor"]["clipped_samples"]
    assert clipped == np.count_nonzero(session.pressure_pa == 170e5) > 0


def test_drop_outs_are_written_as_nan_or_repeat_the_last_value():
    gaps = played(sensor=SensorModel(dropout_share=0.02))
    lost = np.isnan(gaps.pressure_pa)
    assert lost.sum() == gaps.truth["sensor"]["lost_samples"]
    assert lost.mean() == pytest.approx(0.02, abs=0.01)
    held = played(sensor=SensorModel(dropout_share=0.02, dropout_holds_last=True))
    assert not np.isnan(held.pressure_pa).any()
    assert np.count_nonzero(np.diff(held.pressure_pa) == 0.0) > 0.5 * lost.sum()


@pytest.mark.parametrize("shown", [True, False])
def test_jittered_stamps_are_the_true_or_the_nominal_instants(shown):
    sensor = replace(QUIET, jitter_s=2e-4, stamps_show_jitter=shown)
    session = played(sensor=sensor)
    assert (np.diff(session.true_time_s) > 0).all()
    assert np.std(np.diff(session.true_time_s)) > 1e-4
    if shown:
        assert np.array_equal(session.time_s, session.true_time_s)
    else:
        assert np.diff(session.time_s) == pytest.approx(1e-3)


def test_the_csv_holds_every_sample_with_its_unit():
    session = played((HoldAt(155e5, 2.0),), sensor=SensorModel(dropout_share=0.05))
    rows = list(csv.reader(io.StringIO(session.as_csv_text())))
    assert rows[0] == ["time_s", "pressure_bar"]
    values = np.array(rows[1:], dtype=float)
    assert values[:, 0] == pytest.approx(session.time_s, abs=1e-6)
    assert values[:, 1] == pytest.approx(session.pressure_pa / BAR, abs=1e-4, nan_ok=True)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_drawn_session_has_a_whole_truth(kind):
    drawn = random_session(np.random.default_rng(7), kind)
    truth = json.loads(drawn.session.truth_json())
    assert truth["strokes"]
    assert {h["kind"] for h in truth["holds"]} == {"seat", "drop"}
    assert truth["drop_times"][0]["at_reference_s"] > 0
    assert (np.diff(drawn.session.time_s) > 0).all()
    known = drawn.conditions
    assert known.rig.volume_m3.value == pytest.approx(
        drawn.setup.rig.volume_m3 + drawn.injector.volume_m3, rel=0.06
    )
    assert known.oil_temperature.value == pytest.approx(drawn.setup.temperature_k, abs=2.0)
    if kind == "clipped":
        assert truth["sensor"]["clipped_samples"] > 0
    elif kind == "drop-outs":
        assert truth["sensor"]["lost_samples"] > 0
    elif kind == "weeping":
        slow = [s["distinct_openings"] for s in truth["strokes"] if s["kind"] == "slow"]
        assert sum(slow) == 0


def test_an_unknown_kind_is_refused_with_the_known_ones():
    with pytest.raises(InputFault, match="worn guide"):
        random_session(np.random.default_rng(1), "perfect")
