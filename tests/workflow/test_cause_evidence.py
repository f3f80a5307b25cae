"""What one sitting says about causes: each observation taken for what it is."""

from __future__ import annotations

from dataclasses import replace

import pytest

from nozzlewright.advice.causes import infer, published
from nozzlewright.bench import Adjustment, Condition, LeakOffDemand
from nozzlewright.judging import judge_injector
from nozzlewright.measurement import Caution
from nozzlewright.workflow.cause_evidence import Origin, Piece, _ruled_out, of_sitting


@pytest.fixture
def bench(helper):
    return helper("judging/builders.py")


def evidence(bench, sheet=None, cautions=(), **changes):
    sheet, sitting = sheet or bench.sheet(), bench.sitting(**changes)
    if cautions:
        sitting = replace(sitting, gauge=replace(sitting.gauge, cautions=tuple(cautions)))
    verdict = judge_injector(bench.injector(1, sitting), sheet, Condition.USED, as_left=False)
    pieces = of_sitting(published(), sitting, verdict, sheet)
    return {piece.observation: piece.weights for piece in pieces}


def counting(bench):
    """TM 9-4310-397-14, p. 275: at 103 bar 3 to 10 drops in 30 s from the return end."""
    return bench.sheet(
        back_leakage=None,
        leak_off=LeakOffDemand(
            103e5, 30.0, bench.PRINTED, tolerance_pa=2e5, at_least_drops=3, at_most_drops=10
        ),
    )


def test_drops_from_the_return_speak_for_the_guide_and_not_for_face_or_rig(bench):
    """The same page: more drops than that point to valve stem and guide."""
    held = bench.seat_hold(76.0, opening_bar=179.0)
    seen = evidence(bench, counting(bench), drops=(20, 30.0), seat_hold=held)
    assert seen["return_drops"][1] > 0.99
    assert "drop" not in seen
    model = published()
    shares, before = infer(model, seen).causes, infer(model, {}).causes
    assert shares["guide_worn"] > 0.5
    assert shares["rig_leak"] == pytest.approx(before["rig_leak"])
    assert shares["face_leak"] < 0.5 * shares["guide_worn"]


def test_fewer_drops_than_are_asked_speak_of_a_close_fit(bench):
    held = bench.seat_hold(76.0, opening_bar=179.0)
    seen = evidence(bench, counting(bench), drops=(0, 30.0), seat_hold=held)
    assert seen["drop"][1] > 0.9
    assert seen["drop"][2] == 0.0
    assert seen["return_drops"][0] > 0.99


def test_a_holder_set_by_shims_has_no_adjuster_and_one_set_by_a_screw_no_shim(bench):
    shims = bench.sheet(adjustment=Adjustment(shim_sizes_m=(1e-3, 1.1e-3)))
    screw = bench.sheet(adjustment=Adjustment(screw_pitch_m=1e-3))
    both = bench.sheet(adjustment=Adjustment(shim_sizes_m=(1e-3,), screw_pitch_m=1e-3))
    assert _ruled_out(shims, {}) == ("adjuster_slipped",)
    assert _ruled_out(screw, {}) == ("shim_thin", "shim_thick")
    assert _ruled_out(both, {}) == _ruled_out(None, {}) == ()
    # What somebody has seen is there, whatever the sheet says.
    seen = Piece("f_adjuster", (0.0, 1.0), Origin.FINDING)
    assert _ruled_out(shims, {"f_adjuster": seen}) == ()


@pytest.mark.parametrize(
    ("caution", "expected"),
    [
        (Caution("gauge drift", "its drift is stated but not the dates"), False),
        (Caution("sticking needle", "the needle closes late or unevenly"), False),
        (Caution("sticking needle", "lift-off scatters by 9 bar from pop to pop"), True),
        (Caution("drift", "the opening pressure rises steadily, by 4 bar"), True),
        (Caution("unsteady readings", "they scatter by 4 bar"), True),
    ],
)
def test_a_gauge_that_drifts_is_no_opening_pressure_that_wanders(bench, caution, expected):
    assert (evidence(bench, cautions=[caution]).get("unsteady") == (0.0, 1.0)) is expected
