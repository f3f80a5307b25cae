"""Invented sheets, sittings and sets for the tests of judging and advice."""

from __future__ import annotations

from dataclasses import replace

from nozzlewright.bench import (
    Adjustment,
    AsPrinted,
    BackLeakageDemand,
    Chatter,
    ChatterDemand,
    ChatterGrade,
    Condition,
    DropWindow,
    EngineSet,
    FitterObservations,
    GaugeFindings,
    Hold,
    InspectionFinding,
    NozzleGeometry,
    OpeningBand,
    SeatDemand,
    SeatHold,
    SetInjector,
    SettingSheet,
    SprayDemand,
    SprayGrade,
    Stroke,
    StrokeKind,
    TestSitting,
    TipGrade,
    TipWatch,
)
from nozzlewright.measurement import Cause, Caution, NotMeasured, Quantity

BAR = 1e5
PRINTED = AsPrinted("as in the invented document")
NOTHING = NotMeasured("nobody tried")
LEVEL = Cause("gauge level", "one sitting")


def band(lower_bar, upper_bar, target_bar=None):
    target = 0.5 * (lower_bar + upper_bar) if target_bar is None else target_bar
    return OpeningBand(lower_bar * BAR, upper_bar * BAR, target * BAR, PRINTED)


def sheet(**changes):
    """An invented sheet that asks for everything."""
    whole = SettingSheet(
        title="invented sheet",
        injector="invented injector",
        source="invented document, page 1",
        invented=True,
        opening_new=band(180.0, 188.0, 186.0),
        opening_used=band(175.0, 183.0, 179.0),
        seat=SeatDemand(10.0, True, PRINTED, margin_pa=20 * BAR, tolerance_pa=2 * BAR),
        back_leakage=BackLeakageDemand(
            DropWindow(150 * BAR, 100 * BAR, 313.15), PRINTED, at_least_s=6.0
        ),
        chatter=ChatterDemand(True, None, PRINTED),
        spray=SprayDemand(PRINTED),
        spread_pa=5 * BAR,
        adjustment=Adjustment(
            Quantity(100e8, "Pa/m", {Cause("shim effect", "sheet"): 8e8}, "from the sheet"),
            tuple(round(1e-3 + 0.05e-3 * index, 9) for index in range(19)),
        ),
        geometry=NozzleGeometry(),
        torques=(),
        washer="",
    )
    return replace(whole, **changes)


def silent_sheet(**changes):
    """A sheet that asks for nothing but what is given."""
    nothing = dict.fromkeys(
        ("opening_new", "opening_used", "seat", "back_leakage", "chatter", "spray", "spread_pa")
    )
    return sheet(**{**nothing, "adjustment": Adjustment(), **changes})


def quantity(value, u, unit, cause, scope="one injector", **more):
    return Quantity(value, unit, {Cause(cause, scope): u}, **more)


def opening(value_bar, *, level_bar=0.3, own_bar=0.1, name="one injector", cautions=()):
    return Quantity(
        value_bar * BAR,
        "Pa",
        {LEVEL: level_bar * BAR, Cause("repeatability", name): own_bar * BAR},
        "mean of slow strokes",
        tuple(cautions),
    )


def hold(
    drop_s=20.0, u_s=0.5, *, at_reference=True, rig_known=True, window=(150.0, 100.0), **changes
):
    time = quantity(drop_s, u_s, "s", "decay fit", method="whole decay fitted")
    whole = Hold(
        start_s=0.0,
        end_s=30.0,
        start_pa=160 * BAR,
        end_pa=90 * BAR,
        window_from_pa=window[0] * BAR,
        window_to_pa=window[1] * BAR,
        drop_time_as_shown=time,
        drop_time_at_reference=(
            time if at_reference else NotMeasured("the oil temperature was not noted")
        ),
        rig_conductance=(
            quantity(1e-17, 1e-18, "m^3/(s Pa)", "blank plug")
            if rig_known
            else NotMeasured("there is no hold with a blank plug")
        ),
    )
    return replace(whole, **changes)


def seat_hold(margin_bar=20.0, held_s=11.0, opening_bar=179.0, watch=None, **changes):
    start = quantity((opening_bar - margin_bar) * BAR, 0.1 * BAR, "Pa", "noise at the start")
    whole = SeatHold(
        start_s=0.0,
        end_s=held_s,
        start_pressure=start,
        mean_pressure=start,
        fall=quantity(1 * BAR, 0.1 * BAR, "Pa", "noise at the end"),
        duration=quantity(held_s, 0.05, "s", "edges of the hold"),
        margin_below_opening=quantity(margin_bar * BAR, 0.2 * BAR, "Pa", "repeatability"),
        watch=watch or TipWatch(),
    )
    return replace(whole, **changes)


def strokes(count=3):
    return tuple(
        Stroke(index, float(index), index + 0.5, StrokeKind.FILL, 100 * BAR, 0)
        for index in range(count)
    )


def sitting(
    opening_bar=179.0,
    *,
    name="one injector",
    level_bar=0.3,
    own_bar=0.1,
    tip=TipGrade.DRY,
    outside="",
    spray=SprayGrade.GOOD,
    chatter=ChatterGrade.CLEAR,
    per_stroke=None,
    inspection=(),
    needle_slide=None,
    shim_mm=1.4,
    cautions=(),
    gauge_changes=None,
    drops=None,
    **holds,
):
    """A sitting in which all went well, but for what is changed."""
    reading = (
        NotMeasured("no opening was found")
        if opening_bar is None
        else opening(
            opening_bar, level_bar=level_bar, own_bar=own_bar, name=name, cautions=cautions
        )
    )
    watch = TipWatch(tip, drops[0] if drops else None, drops[1] if drops else None, outside)
    counted = (
        NOTHING
        if per_stroke is None
        else Chatter(quantity(per_stroke, 0.2, "1", "strokes"), NOTHING, NOTHING)
    )
    gauge = GaugeFindings(
        source="invented.csv",
        digest="",
        by_hand=False,
        opening_pressure=reading,
        closing_pressure=NOTHING,
        second_opening_pressure=NOTHING,
        hold=holds.get("hold", hold()),
        seat_hold=holds.get("seat_hold", seat_hold(opening_bar=opening_bar or 179.0)),
        chatter=counted,
        cautions=tuple(cautions),
    )
    seen = FitterObservations(
        spray=spray,
        chatter=chatter,
        seat=tip,
        seat_watch=watch,
        needle_slide=needle_slide,
        inspection=tuple(InspectionFinding(*one) for one in inspection),
    )
    return TestSitting(replace(gauge, **(gauge_changes or {})), seen, shim_mm)


def injector(cylinder=1, as_found=None, as_left=None):
    return SetInjector(cylinder, f"N{cylinder:03d}", as_found, as_left)


def engine_set(*injectors, condition=Condition.USED):
    return EngineSet(
        title="invented set",
        engine="",
        customer="",
        workshop="",
        fitter="",
        date="2026-03-31",
        condition=condition,
        invented=True,
        symptoms="",
        injectors=injectors,
    )


def set_of(*openings_bar, condition=Condition.USED, as_left=True, **changes):
    """A set in which only the opening pressures differ."""
    sittings = [
        sitting(value, name=f"injector {index}", **changes)
        for index, value in enumerate(openings_bar)
    ]
    return engine_set(
        *(
            injector(index + 1, *((None, one) if as_left else (one, None)))
            for index, one in enumerate(sittings)
        ),
        condition=condition,
    )


def caution(name, text="as was seen"):
    return Caution(name, text)
