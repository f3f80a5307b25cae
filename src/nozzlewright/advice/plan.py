"""The next action for each injector: the least work that can help comes first.

The order is that of the bench: rule out the rig, then what leaks outside; clean and test again
before a pair is condemned; set the pressure last, because all the rest may move it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache

from nozzlewright.advice.cautions import JET, MANUAL, STRIP, STRIP_AND_JET
from nozzlewright.advice.effect import learn
from nozzlewright.advice.matching import to_be_matched
from nozzlewright.advice.next_action import ActionKind, Advice, NextAction
from nozzlewright.advice.setting import SettingMeans, change_to, has_screw
from nozzlewright.bench import (
    Hold,
    NoResult,
    OpeningBand,
    SettingSheet,
    Severity,
    TestSitting,
    TipGrade,
)
from nozzlewright.judging import (
    BenchTest,
    Direction,
    InjectorOutcome,
    InjectorVerdict,
    LeakPath,
    Outcome,
    SetVerdict,
    Verdict,
    acceptance_zone,
)
from nozzlewright.judging.evidence import mentions, outside_leak, tip_grades
from nozzlewright.judging.gauge_choice import gauge_share
from nozzlewright.judging.injector import is_of_the_pair
from nozzlewright.judging.seat import held_at
from nozzlewright.judging.wording import bar, seconds, stated
from nozzlewright.measurement import Caution, NotMeasured, Quantity
from nozzlewright.said import Said, joined, say, word


@dataclass(frozen=True)
class _Case:
    verdict: InjectorVerdict
    set_verdict: SetVerdict
    sheet: SettingSheet
    sitting: TestSitting
    setting: SettingMeans
    matched: Callable[[], Mapping[int, float]]
    """Which injectors the set asks to be reset, and to what pressure, [Pa]."""

    @property
    def cylinder(self) -> int:
        return self.verdict.injector.cylinder

    @property
    def cautions(self) -> tuple[Caution, ...]:
        gauge = self.sitting.gauge
        if gauge is None:
            return ()
        opening = gauge.opening_pressure
        own = opening.cautions if isinstance(opening, Quantity) else ()
        hold = gauge.hold.cautions if isinstance(gauge.hold, Hold) else ()
        return (*gauge.cautions, *own, *hold)

    @property
    def band(self) -> OpeningBand | None:
        """The band in which the injector is to be left."""
        sheet = self.sheet
        return sheet.opening_band(self.set_verdict.condition) or sheet.opening_band(
            self.verdict.condition
        )

    def fails(self, test: BenchTest) -> bool:
        return self.verdict.of(test).outcome is Outcome.FAIL

    def act(
        self, kind: ActionKind, do: str, why: str, caution: str = "", warnings: tuple[str, ...] = ()
    ) -> NextAction:
        return NextAction(self.cylinder, kind, do, why, caution, warnings=warnings)


def advise_set(
    set_verdict: SetVerdict, sheet: SettingSheet, setting: SettingMeans | None = None
) -> tuple[Advice, ...]:
    """Return the advice on the latest sitting of each injector, in the order of the set."""
    means = setting or SettingMeans(learn(sheet))
    matched = cache(lambda: to_be_matched(set_verdict, sheet, means))
    return tuple(_advised(one, set_verdict, sheet, means, matched) for one in set_verdict.injectors)


def advise(
    verdict: InjectorVerdict,
    set_verdict: SetVerdict,
    sheet: SettingSheet,
    setting: SettingMeans | None = None,
) -> Advice:
    """Return what to do next with an injector, and why.

    Parameters
    ----------
    verdict : InjectorVerdict
        Verdict on the injector
    set_verdict : SetVerdict
        Verdict on its set: the band after the work, and whom the spread calls out
    sheet : SettingSheet
        Target, shims, screw
    setting : SettingMeans, optional
        What is known of the effect of shim or screw, and which shims there are; None: what the
        sheet says

    Returns
    -------
    Advice
        Actions, the first one first, and the test that would tell most where it is unclear
    """
    means = setting or SettingMeans(learn(sheet))
    matched = cache(lambda: to_be_matched(set_verdict, sheet, means))
    return _advised(verdict, set_verdict, sheet, means, matched)


def _advised(
    verdict: InjectorVerdict,
    set_verdict: SetVerdict,
    sheet: SettingSheet,
    setting: SettingMeans,
    matched: Callable[[], Mapping[int, float]],
) -> Advice:
    injector = verdict.injector
    sitting = injector.as_left if verdict.as_left else injector.as_found
    if sitting is None:
        do = say(
            "Test it before it is opened: opening pressure, seat, back-leakage, chatter, spray."
        )
        why = say("It has not been tested.")
        action = NextAction(injector.cylinder, ActionKind.TEST, do, why, JET)
        return Advice(injector.cylinder, (action,), word(BenchTest.OPENING))
    if verdict.as_left and sitting.gauge is None and not sitting.seen.at_the_rig:
        do = say("Test it as left: opening pressure, seat, back-leakage, chatter, spray.")
        why = say("It was not tested since it was put together or set.")
        action = NextAction(injector.cylinder, ActionKind.TEST, do, why, JET)
        return Advice(injector.cylinder, (action,), word(BenchTest.OPENING))
    case = _Case(verdict, set_verdict, sheet, sitting, setting, matched)
    actions = tuple(
        action
        for rule in (_rig, _faces, _parts, _cleaning, _pair, _opening, _matching, _close, _missing)
        for action in rule(case)
    )
    if not actions:
        actions = (_fit(case),)
    return Advice(injector.cylinder, actions, _next_test(case))


def _rig(case: _Case) -> Iterator[NextAction]:
    leakage = case.verdict.of(BenchTest.BACK_LEAKAGE)
    air = mentions(case.cautions, "air")
    if leakage.outcome is Outcome.WITHHELD:
        yield case.act(
            ActionKind.CHECK_RIG,
            say(
                "Put the rig right first, check it again, and then time the fall of this injector "
                "once more."
            ),
            leakage.reasons[0],
            JET,
        )
    elif LeakPath.RIG in leakage.leak_paths and leakage.outcome is not Outcome.PASS:
        yield case.act(
            ActionKind.CHECK_RIG,
            say(
                "Put the blank plug in the injector's place, pump up to the same pressure and "
                "record the fall; then time the injector again."
            ),
            say(
                "The fall is fast and the rig's own leak is not known: a leaking pump valve or "
                "union looks just like a worn guide."
            ),
            JET,
        )
    elif air is not None:
        yield case.act(
            ActionKind.CHECK_RIG,
            say("Bleed the rig with quick strokes until the oil runs solid, and test again."),
            say("There is air in the rig: {air}.", air=air.text),
            JET,
        )


def _faces(case: _Case) -> Iterator[NextAction]:
    leak = outside_leak(case.sitting)
    if leak:
        yield case.act(
            ActionKind.CHECK_FACES,
            say(
                "Wipe dry and find where the oil comes from ({leak}). From nut or cap: strip, "
                "clean and blue the pressure faces, lap or renew, renew the seals, tighten to the "
                "torque and no more. Then test seat and back-leakage again.",
                leak=leak,
            ),
            say(
                "Oil was seen outside. A face leak makes the pressure fall as a worn guide does, "
                "and over-tightening does not cure it."
            ),
            STRIP_AND_JET,
        )
    elif LeakPath.FACE in case.verdict.of(BenchTest.BACK_LEAKAGE).leak_paths:
        yield case.act(
            ActionKind.CHECK_FACES,
            say("Strip, clean and blue the pressure faces, lap or renew; then count again."),
            say("Drops at the leak-off come past the guide or across a pressure face."),
            STRIP_AND_JET,
        )


def _parts(case: _Case) -> Iterator[NextAction]:
    for finding in case.sitting.seen.inspection:
        if finding.severity is Severity.NOTE or is_of_the_pair(finding.part):
            continue
        why = say("Inspection: {seen}.", seen=finding.seen)
        if finding.severity is Severity.RENEW:
            do = say("Renew: {part}.", part=finding.part)
            yield case.act(ActionKind.RENEW_PART, do, why, STRIP)
        elif "face" in finding.part.lower():
            do = say("Clean, blue and lap: {part}; renew bent dowels.", part=finding.part)
            yield case.act(ActionKind.CHECK_FACES, do, why, STRIP)
        else:
            do = say("Rework: {part}; then test again.", part=finding.part)
            yield case.act(ActionKind.CLEAN_AND_RETEST, do, why, STRIP_AND_JET)


def _cleaning(case: _Case) -> Iterator[NextAction]:
    if case.verdict.outcome is InjectorOutcome.EXCHANGE:
        return
    steps: list[str] = []
    why: list[str] = []
    seat, leakage = case.verdict.of(BenchTest.SEAT), case.verdict.of(BenchTest.BACK_LEAKAGE)
    opening = case.verdict.of(BenchTest.OPENING)
    seat_wet = seat.outcome is Outcome.FAIL or (
        seat.outcome is not Outcome.PASS and TipGrade.DROP in tip_grades(case.sitting)
    )
    if seat_wet:
        steps.append(say("clean the seat (wood or brass, never steel), flush"))
        why.append(seat.reasons[0])
    rough = [
        one
        for one in case.sitting.seen.inspection
        if one.severity is Severity.REWORK and is_of_the_pair(one.part)
    ]
    for finding in rough:
        steps.append(say("clean or rework: {part}", part=finding.part))
        why.append(say("Inspection: {part}, {seen}.", part=finding.part, seen=finding.seen))
    if case.fails(BenchTest.SPRAY):
        steps.append(
            say(
                "decarbonise the tip, clear the holes (a wire thinner than the hole, and only "
                "where the maker allows one)"
            )
        )
        why.append(case.verdict.of(BenchTest.SPRAY).reasons[0])
    if reason := _sticking(case):
        steps.append(
            say(
                "clean needle and guide as a pair, do the needle slide test at several angles, and "
                "check the torque of the nozzle nut: too much binds the needle"
            )
        )
        why.append(reason)
    weeping = mentions(case.cautions, "weep")
    if case.sitting.seen.no_result:
        steps.append(_search(case.sitting.seen.no_result))
        why.append(say("It gives no result: {reason}.", reason=case.sitting.seen.no_result))
    elif weeping is not None:
        why.append(say("It weeps without a distinct pop: {weeping}.", weeping=weeping.text))
        if not steps:
            steps.append(say("first try brisker strokes; if it still weeps, clean needle and seat"))
    elif reason := _stuck_shut(case, opening):
        steps.append(say("soak and free the needle; if it stays fast, the pair is to be renewed"))
        why.append(reason)
    elif reason := _no_build_up(case, opening):
        steps.append(say("look for a needle held open by dirt, a broken spring or a missing part"))
        why.append(reason)
    if leakage.outcome is Outcome.FAIL and _too_tight(leakage) and not _sticking(case):
        steps.append(say("clean needle and guide; make sure that the pair is not crossed or bent"))
        why.append(leakage.reasons[0])
    if leakage.outcome is Outcome.FAIL and LeakPath.SEAT in leakage.leak_paths and not steps:
        steps.append(say("clean the seat and the pressure faces"))
        why.append(leakage.reasons[-1])
    if steps:
        yield case.act(
            ActionKind.CLEAN_AND_RETEST,
            say(
                "Strip, one injector at a time, and {steps}; rinse, assemble wet, tighten evenly "
                "to the torque, wipe the tip dry and test again.",
                steps=joined("; ", steps),
            ),
            joined(" ", why),
            STRIP_AND_JET,
        )


def _search(reason: NoResult | str) -> Said:
    """Return what to look for where an injector gives no result on the rig."""
    match reason:
        case NoResult.SEIZED | NoResult.NOT_OPENING:
            return say("soak and free the needle; if it stays fast, the pair is to be renewed")
        case NoResult.NO_PRESSURE:
            return say("look for a needle held open by dirt, a broken spring or a missing part")
        case NoResult.OUTSIDE:
            return say("find where the oil comes from; clean and blue the pressure faces")
    return say("look at every part for the cause")


def _sticking(case: _Case) -> str:
    caution = mentions(case.cautions, "stick")
    if caution is not None:
        return say("The needle sticks: {caution}.", caution=caution.text)
    if case.sitting.seen.needle_slide is False:
        return say("The wetted needle did not slide freely to its seat.")
    if case.fails(BenchTest.CHATTER):
        return case.verdict.of(BenchTest.CHATTER).reasons[0]
    return ""


def _no_reading(case: _Case, opening: Verdict) -> bool:
    gauge = case.sitting.gauge
    return (
        gauge is not None
        and bool(gauge.strokes)
        and not gauge.openings
        and isinstance(opening.measured, NotMeasured)
    )


def _stuck_shut(case: _Case, opening: Verdict) -> str:
    gauge, band = case.sitting.gauge, case.band
    if not _no_reading(case, opening) or gauge is None or band is None:
        return ""
    highest = gauge.hold.start_pa if isinstance(gauge.hold, Hold) else 0.0
    if highest <= band.upper_pa:
        return ""
    return say(
        "It held {pressure} without opening, above its band: the needle is stuck shut.",
        pressure=bar(highest),
    )


def _no_build_up(case: _Case, opening: Verdict) -> str:
    gauge = case.sitting.gauge
    if not _no_reading(case, opening) or gauge is None or gauge.hold:
        return ""
    return say(
        "Strokes were made and no pressure was held nor any opening seen: it may be stuck open."
    )


def _too_tight(leakage: Verdict) -> bool:
    return leakage.direction is not Direction.WITHIN and not leakage.leak_paths


def _pair(case: _Case) -> Iterator[NextAction]:
    if case.verdict.outcome is not InjectorOutcome.EXCHANGE:
        return
    by_leak = case.verdict.of(BenchTest.BACK_LEAKAGE).leak_paths == (LeakPath.GUIDE,)
    setting = say("set the opening pressure anew")
    if case.band is not None:
        target = bar(case.band.target_pa)
        setting = say("set the opening pressure anew to {target}", target=target)
    if by_leak and case.fails(BenchTest.BACK_LEAKAGE) and not _faces_seen_sound(case):
        do = say(
            "Strip and blue the pressure faces: a face that leaks inwards looks the same and costs "
            "less. If they are sound, exchange needle and body as a pair; {setting} and make every "
            "test again.",
            setting=setting,
        )
    else:
        do = say(
            "Exchange needle and body as a pair; {setting} and make every test again.",
            setting=setting,
        )
    yield case.act(
        ActionKind.RENEW_PAIR,
        do,
        case.verdict.reasons[0],
        STRIP_AND_JET,
    )


def _faces_seen_sound(case: _Case) -> bool:
    """Return whether the inspection looked at the pressure faces and asks nothing of them."""
    faces = [
        one.severity for one in case.sitting.seen.inspection if "pressure face" in one.part.lower()
    ]
    return bool(faces) and all(severity is Severity.NOTE for severity in faces)


def _opening(case: _Case) -> Iterator[NextAction]:
    opening = case.verdict.of(BenchTest.OPENING)
    measured = opening.measured
    if not isinstance(measured, Quantity) or case.band is None:
        return
    if case.verdict.outcome is InjectorOutcome.EXCHANGE:
        return  # another pair seats on another diameter: today's reading says nothing of it
    drift = mentions(case.cautions, "drift")
    if drift is not None and opening.outcome in (Outcome.FAIL, Outcome.TOO_CLOSE):
        yield case.act(
            ActionKind.TEST,
            say(
                "Check the lock nut, pop it until the opening pressure stands still, then read "
                "again."
            ),
            say("The opening pressure drifts from pop to pop: {drift}.", drift=drift.text),
            JET,
        )
    if opening.outcome is Outcome.FAIL:
        yield from _set_to(case, case.band.target_pa, measured, opening.reasons[0])


def _set_to(
    case: _Case,
    target_pa: float,
    measured: Quantity,
    reason: str,
    *,
    within_pa: float | None = None,
) -> Iterator[NextAction]:
    """Yield the change that brings it to a target; within a distance of it, where one is given."""
    band = case.band
    if band is None:
        return
    if within_pa is not None:
        band = replace(
            band,
            lower_pa=max(band.lower_pa, target_pa - within_pa),
            upper_pa=min(band.upper_pa, target_pa + within_pa),
        )
    shim = case.sitting.shim_mm
    change = change_to(
        target_pa,
        measured,
        band,
        case.sheet,
        case.setting.knowledge,
        drawer=case.setting.drawer,
        shim_now_m=None if shim is None else shim / 1e3,
        identity=case.setting.identity(
            case.verdict.injector.identity or say("cylinder {number}", number=case.cylinder)
        ),
        spring=case.sitting.spring,
    )
    kind = ActionKind.TURN_SCREW if has_screw(case.sheet) else ActionKind.CHANGE_SHIM
    warnings = change.warnings
    later = case.fails(BenchTest.SEAT) or case.fails(BenchTest.CHATTER) or bool(_sticking(case))
    if later:
        warnings += (
            say("Clean first: it may move the opening pressure. Read again before setting."),
        )
    yield NextAction(
        case.cylinder,
        kind,
        change.do,
        joined(" ", [reason, change.why]),
        STRIP_AND_JET if kind is ActionKind.CHANGE_SHIM else JET,
        shim_change_m=change.shim_change_m,
        screw_turns=change.screw_turns,
        predicted_opening=change.predicted,
        warnings=warnings,
    )
    if change.out_of_reach:
        yield case.act(
            ActionKind.RENEW_PART,
            say(
                "Measure the spring (free length, squareness, cracks) and the spindle; renew what "
                "is worn, then set again."
            ),
            say("No shim to be had brings the opening pressure into its band."),
            STRIP,
        )


def _matching(case: _Case) -> Iterator[NextAction]:
    opening = case.verdict.of(BenchTest.OPENING)
    if opening.outcome in (Outcome.FAIL, Outcome.NOT_DONE) or case.verdict.outcome in (
        InjectorOutcome.EXCHANGE,
        InjectorOutcome.REWORK,
    ):
        return
    matched = case.matched()
    measured = opening.measured
    if case.cylinder not in matched or not isinstance(measured, Quantity) or case.band is None:
        return
    target = matched[case.cylinder]
    if not case.band.lower_pa <= target <= case.band.upper_pa:
        target = case.band.target_pa
    reason = (
        say("The set is spread too wide and this one stands apart: match it to the others.")
        if case.set_verdict.spread_outcome is Outcome.FAIL
        else say("It stands apart from the others, and the spread of the set is not proved good.")
    )
    limit = case.set_verdict.spread_limit_pa
    within = 0.5 * limit if limit else 0.25 * (case.band.upper_pa - case.band.lower_pa)
    yield from _set_to(case, target, measured, reason, within_pa=within)


def _close(case: _Case) -> Iterator[NextAction]:
    if case.verdict.outcome is InjectorOutcome.EXCHANGE:
        return  # no use to test a pair that is to be discarded
    opening = case.verdict.of(BenchTest.OPENING)
    if opening.outcome is Outcome.TOO_CLOSE and isinstance(opening.measured, Quantity):
        yield from _close_opening(case, opening, opening.measured)
    for test in (BenchTest.SEAT, BenchTest.BACK_LEAKAGE, BenchTest.CHATTER):
        verdict = case.verdict.of(test)
        if verdict.outcome is not Outcome.TOO_CLOSE:
            continue
        if test is BenchTest.BACK_LEAKAGE and LeakPath.RIG in verdict.leak_paths:
            continue  # the blank plug comes first
        yield case.act(ActionKind.TEST, _again(test, case.sheet), joined(" ", verdict.reasons), JET)


def _close_opening(case: _Case, opening: Verdict, measured: Quantity) -> Iterator[NextAction]:
    gauge, rest = gauge_share(measured)
    reason = opening.reasons[0]
    if opening.cannot_judge:
        yield case.act(
            ActionKind.RETEST_BETTER_GAUGE, say("Read it on a gauge that can tell."),
            joined(" ", [reason, opening.cannot_judge]), JET,
        )  # fmt: skip
        return
    unknown = mentions(measured.cautions, "gauge unknown")
    if unknown is not None:
        yield case.act(
            ActionKind.CHECK_RIG,
            say("State range and class of the gauge, or its certificate, in the bench conditions."),
            say("{reason} {unknown:capital}.", reason=reason, unknown=unknown.text),
        )
        return
    if gauge >= rest:
        do = say("Read it on a better gauge.")
        yield case.act(ActionKind.RETEST_BETTER_GAUGE, do, reason, JET)
    else:
        do = say("Make five slow pops or more and read them all.")
        yield case.act(ActionKind.TEST, do, reason, JET)
    band = case.band
    if band is None or measured.standard_uncertainty == 0.0:
        return
    zone = acceptance_zone(
        measured.standard_uncertainty * measured.student_factor,
        band.lower_pa,
        band.upper_pa,
        case.sheet.rule,
    )
    low, high = zone or (None, None)
    if low is not None and high is not None and low <= band.target_pa <= high:
        how = say(
            "Or set it to target: with this gauge {low} to {high} shown is a pass.",
            low=bar(low),
            high=bar(high),
        )
        yield from _set_to(case, band.target_pa, measured, how)


def _again(test: BenchTest, sheet: SettingSheet) -> Said:
    if test is BenchTest.SEAT and sheet.seat is not None:
        return say(
            "Wipe the tip dry, hold {pressure} for {time} on the record, the pressure kept up with "
            "the lever, and write down whether it stays dry.",
            pressure=held_at(sheet.seat),
            time=seconds(sheet.seat.seconds),
        )
    if test is BenchTest.BACK_LEAKAGE and sheet.back_leakage is not None:
        window = sheet.back_leakage.window
        return say(
            "Record the fall from {start} to {end} with the pump shut off, and state oil, oil "
            "temperature, rig and blank plug in the bench conditions.",
            start=bar(window.from_pa),
            end=bar(window.to_pa),
        )
    if test is BenchTest.BACK_LEAKAGE and sheet.leak_off is not None:
        return say(
            "Hold {pressure} and count the drops at the leak-off for {time}.",
            pressure=bar(sheet.leak_off.pressure_pa),
            time=seconds(sheet.leak_off.seconds),
        )
    if test is BenchTest.CHATTER:
        return say("Make ten quick, even strokes, gauge isolated, and grade the chatter by ear.")
    if test is BenchTest.SPRAY:
        return say(
            "Make brisk strokes into a clear closed cup, gauge isolated, and grade each jet."
        )
    return say("Bleed, make five slow pops and record the opening pressure.")


def _missing(case: _Case) -> Iterator[NextAction]:
    if case.verdict.outcome is InjectorOutcome.EXCHANGE or case.sitting.seen.no_result:
        return
    for test in TEST_ORDER:
        verdict = case.verdict.of(test)
        if verdict.outcome is not Outcome.NOT_DONE:
            continue
        if test is BenchTest.OPENING and (
            _no_reading(case, verdict) or mentions(case.cautions, "weep")
        ):
            continue  # what was tried in vain is a matter of cleaning, not of trying again
        yield case.act(ActionKind.TEST, _again(test, case.sheet), verdict.reasons[0], JET)


TEST_ORDER = (
    BenchTest.OPENING,
    BenchTest.SEAT,
    BenchTest.BACK_LEAKAGE,
    BenchTest.CHATTER,
    BenchTest.SPRAY,
)
"""Order of the tests on the bench."""


def _fit(case: _Case) -> NextAction:
    return case.act(
        ActionKind.FIT,
        say(
            "Cap it, tag it with cylinder, opening pressure and date, and fit it with one new "
            "washer on a clean seat."
        ),
        say(
            "{reason} If the engine's symptom stays, look beyond the injector: compression, "
            "timing, air, fuel supply, delivery valve, pipe.",
            reason=case.verdict.reasons[0],
        ),
        MANUAL,
    )


def _next_test(case: _Case) -> str:
    """Return the test that would tell most, where it is unclear; else empty."""
    if case.verdict.outcome is InjectorOutcome.EXCHANGE or case.sitting.seen.no_result:
        return ""
    leakage = case.verdict.of(BenchTest.BACK_LEAKAGE)
    if len(leakage.leak_paths) > 1 and leakage.outcome in (Outcome.FAIL, Outcome.TOO_CLOSE):
        first = leakage.leak_paths[0]
        return {
            LeakPath.RIG: say("a hold with the blank plug: it alone tells rig from injector"),
            LeakPath.FACE: say(
                "a hold with nut, cap and unions wiped dry and watched: it tells an outside joint "
                "from the pair"
            ),
            LeakPath.SEAT: say(
                "a hold with the tip wiped dry and watched: it tells seat from guide"
            ),
        }.get(first, "")
    for test in TEST_ORDER:
        if case.verdict.of(test).outcome is Outcome.NOT_DONE:
            return say("{test}: it is not done", test=test)
    for test in TEST_ORDER:
        verdict = case.verdict.of(test)
        if verdict.outcome is Outcome.TOO_CLOSE:
            measured = verdict.measured
            if isinstance(measured, Quantity):
                value = stated(measured)
                return say(
                    "{test} once more ({value}): it is too close to tell", test=test, value=value
                )
            return say("{test} once more: it is too close to tell", test=test)
    return ""
