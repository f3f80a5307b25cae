"""One injector in one sitting: every bench test judged, and what is to become of it."""

from __future__ import annotations

from dataclasses import replace

from nozzlewright.bench import (
    Condition,
    SetInjector,
    SettingSheet,
    Severity,
    SprayGrade,
    TestSitting,
    TipGrade,
)
from nozzlewright.judging.back_leakage import judge_back_leakage
from nozzlewright.judging.bench_tests import (
    judge_chatter,
    judge_inspection,
    judge_opening,
    judge_spray,
)
from nozzlewright.judging.evidence import tip_grades
from nozzlewright.judging.seat import judge_seat
from nozzlewright.judging.verdict import (
    BenchTest,
    Direction,
    InjectorOutcome,
    InjectorVerdict,
    LeakPath,
    Outcome,
    Verdict,
)
from nozzlewright.judging.wording import listed
from nozzlewright.said import Said, say

PAIR_WORDS = ("needle", "nozzle body", "nozzle tip", "pair", "guide", "seat", "hole", "pintle")
"""Words that name the needle and its body: renewed as a pair only."""
NOT_PAIR_WORDS = ("washer", "spring", "nut", "spindle", "shim")
"""Words that name another part even where a word above stands beside (spring seat)."""


def judge_injector(
    injector: SetInjector, sheet: SettingSheet, condition: Condition, *, as_left: bool
) -> InjectorVerdict:
    """Return the verdict on one injector, as found or as left.

    Parameters
    ----------
    injector : SetInjector
        Findings of both sittings, as far as there are any
    sheet : SettingSheet
        What is asked; what it leaves out is not judged
    condition : Condition
        Band for the parts as left; parts as found are held against the band for used ones
    as_left : bool
        Which sitting is judged

    Returns
    -------
    InjectorVerdict
        One verdict for each of the five tests of ISO 8984-1:1993 and for the inspection, and the
        outcome: fit, adjust, rework, exchange or unfinished

    Notes
    -----
    *Exchange* is said only where nothing less can help: the leak is shown to be the guide's, the
    inspection says that a part of the pair is to be renewed, or seat or spray failed as found and
    failed again as left, the cleaning between.
    """
    sitting = injector.as_left if as_left else injector.as_found
    band = condition if as_left else Condition.USED
    if sitting is None:
        when = say("as left") if as_left else say("as found")
        verdicts = tuple(
            Verdict(test, Outcome.NOT_DONE, "", (say("There is no sitting {when}.", when=when),))
            for test in BenchTest
        )
        why = (say("It was not tested {when}.", when=when),)
        return InjectorVerdict(injector, as_left, verdicts, InjectorOutcome.UNFINISHED, why, band)
    judged = {
        BenchTest.OPENING: judge_opening(sitting, sheet, band),
        BenchTest.CHATTER: judge_chatter(sitting, sheet),
        BenchTest.SPRAY: judge_spray(sitting, sheet),
        BenchTest.SEAT: judge_seat(sitting, sheet),
        BenchTest.BACK_LEAKAGE: judge_back_leakage(sitting, sheet),
        BenchTest.INSPECTION: judge_inspection(sitting),
    }
    if sitting.seen.no_result:
        judged = {test: _without_result(verdict, sitting) for test, verdict in judged.items()}
    before = injector.as_found if as_left else None
    outcome, reasons = _outcome(judged, sitting, before)
    if as_left and sitting.gauge is None and not sitting.seen.at_the_rig:
        # What was seen of the parts is not yet a test of what they do together.
        outcome, reasons = InjectorOutcome.UNFINISHED, (say("As left it is not tested yet."),)
    return InjectorVerdict(
        injector, as_left, tuple(judged[test] for test in BenchTest), outcome, reasons, band
    )


def _without_result(verdict: Verdict, sitting: TestSitting) -> Verdict:
    """Return what is left of a verdict where the injector gives no result on the rig after all."""
    if verdict.test not in BENCH_TESTS or verdict.outcome in (Outcome.NOT_ASKED, Outcome.FAIL):
        return verdict
    why = say("No result: {reason}.", reason=sitting.seen.no_result)
    before = () if verdict.outcome is Outcome.NOT_DONE else verdict.reasons
    return replace(
        verdict,
        outcome=Outcome.NOT_DONE,
        direction=Direction.WITHIN,
        probability_of_conformity=None,
        reasons=(why, *before),
    )


def is_of_the_pair(part: str) -> bool:
    """Return whether an inspected part belongs to the mated pair of needle and body.

    >>> is_of_the_pair("nozzle body"), is_of_the_pair("spring seat"), is_of_the_pair("dowel")
    (True, False, False)
    """
    name = part.lower()
    return any(word in name for word in PAIR_WORDS) and not any(
        word in name for word in NOT_PAIR_WORDS
    )


def _outcome(
    judged: dict[BenchTest, Verdict],
    sitting: TestSitting,
    before: TestSitting | None,
) -> tuple[InjectorOutcome, tuple[str, ...]]:
    exchange = _reasons_to_exchange(judged, sitting, before)
    failed = [test for test, verdict in judged.items() if verdict.outcome is Outcome.FAIL]
    besides = _seen_beyond_the_sheet(judged, sitting)
    to_rework = [test for test in failed if test is not BenchTest.OPENING]
    open_tests = _open_tests(judged)
    if sitting.seen.no_result:
        open_tests = [say("It gives no result: {reason}.", reason=sitting.seen.no_result)]
    not_asked = [
        test
        for test, verdict in judged.items()
        if verdict.outcome is Outcome.NOT_ASKED and test is not BenchTest.INSPECTION
    ]
    notes = [*open_tests]
    if not_asked:
        notes.append(
            say("Not asked by the sheet, so not judged: {tests}.", tests=listed(not_asked))
        )
    if exchange:
        return InjectorOutcome.EXCHANGE, (*exchange, *notes)
    if to_rework or besides:
        reasons = [
            say("{test:capital} fails: {reason}", test=test, reason=judged[test].reasons[0])
            for test in to_rework
        ]
        if BenchTest.OPENING in failed:
            reason = judged[BenchTest.OPENING].reasons[0]
            reasons.append(say("Opening pressure fails too: {reason}", reason=reason))
        return InjectorOutcome.REWORK, (*reasons, *besides, *notes)
    if failed:
        first = say(
            "Only the opening pressure is out: {reason}",
            reason=judged[BenchTest.OPENING].reasons[0],
        )
        return InjectorOutcome.ADJUST, (first, *notes)
    if open_tests:
        return InjectorOutcome.UNFINISHED, tuple(notes)
    if not any(judged[test].outcome is Outcome.PASS for test in BENCH_TESTS):
        return InjectorOutcome.UNFINISHED, (say("No bench test was judged."), *notes)
    return InjectorOutcome.FIT, (
        say("Every test that the sheet asks for is passed."),
        *notes,
    )


BENCH_TESTS = tuple(test for test in BenchTest if test is not BenchTest.INSPECTION)
"""The five tests of ISO 8984-1:1993."""


def _open_tests(judged: dict[BenchTest, Verdict]) -> list[Said]:
    return [
        say(
            "{test:capital} is {outcome}: {reason}",
            test=test,
            outcome=verdict.outcome,
            reason=verdict.reasons[0],
        )
        for test, verdict in judged.items()
        if verdict.outcome in (Outcome.NOT_DONE, Outcome.TOO_CLOSE, Outcome.WITHHELD)
    ]


def _reasons_to_exchange(
    judged: dict[BenchTest, Verdict],
    sitting: TestSitting,
    before: TestSitting | None,
) -> list[Said]:
    reasons = []
    leakage = judged[BenchTest.BACK_LEAKAGE]
    if leakage.outcome is Outcome.FAIL and leakage.leak_paths == (LeakPath.GUIDE,):
        reasons.append(say("The guide leaks too much: {reason}", reason=leakage.reasons[0]))
    reasons += [
        say("{part}: {seen}; needle and body are renewed as a pair.", part=one.part, seen=one.seen)
        for one in sitting.seen.inspection
        if one.severity is Severity.RENEW and is_of_the_pair(one.part)
    ]
    if before is None:
        return reasons
    if judged[BenchTest.SEAT].outcome is Outcome.FAIL and TipGrade.DROP in tip_grades(before):
        reasons.append(say("The seat let drops through as found and leaks still as left."))
    sprayed_badly = before.seen.spray is SprayGrade.POOR
    if judged[BenchTest.SPRAY].outcome is Outcome.FAIL and sprayed_badly:
        reasons.append(say("The spray was poor as found and is still poor as left."))
    return reasons


def _seen_beyond_the_sheet(judged: dict[BenchTest, Verdict], sitting: TestSitting) -> list[Said]:
    """Return what was seen that no sheet asks for, and that forbids to fit all the same."""
    seen = sitting.seen
    reasons = []
    if judged[BenchTest.SPRAY].outcome is Outcome.NOT_ASKED and seen.spray is SprayGrade.POOR:
        reasons.append(say("The fitter saw a poor spray, though the sheet asks nothing of it."))
    grades = tip_grades(sitting)
    if judged[BenchTest.SEAT].outcome is Outcome.NOT_ASKED and TipGrade.DROP in grades:
        reasons.append(say("A drop formed at the tip, though the sheet asks nothing of it."))
    return reasons
