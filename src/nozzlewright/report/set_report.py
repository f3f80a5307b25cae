"""What the report of a set says: every word and number settled, nothing about paper.

Paper and screen lay these data out; neither words nor rounds anything by itself.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from nozzlewright.advice.next_action import Advice, NextAction
from nozzlewright.advice.setting import shim_thickness
from nozzlewright.bench import (
    AsPrinted,
    BenchConditions,
    Chatter,
    Condition,
    DecisionRule,
    EngineSet,
    FitterObservations,
    Gauge,
    GaugeFindings,
    Hold,
    NoResult,
    Rig,
    SeatHold,
    SettingSheet,
    TestSitting,
)
from nozzlewright.judging.decision_rule import GUARD_FACTOR, acceptance_zone
from nozzlewright.judging.rig import RigVerdict
from nozzlewright.judging.verdict import (
    BenchTest,
    InjectorOutcome,
    InjectorVerdict,
    Outcome,
    SetVerdict,
    Verdict,
)
from nozzlewright.judging.wording import listed, percent
from nozzlewright.measurement import Measured, NotMeasured, Quantity
from nozzlewright.report.fitting import FittingSheet, fitting_sheet
from nozzlewright.report.reading import watch_text
from nozzlewright.report.wording import (
    BAR,
    MILLIMETRE,
    PER_CENT,
    PER_STROKE,
    READING_RULE,
    TradeUnit,
    ValueText,
    caution_texts,
    limit_text,
    plain_number,
    printable,
    trade_unit,
    value_text,
    with_unit,
)
from nozzlewright.said import Said, joined, say, word

_JET = say(
    "Spray pierces skin. A wound from a jet is a surgical emergency even if it is painless: go "
    "to hospital at once and say which fluid and pressure. Hands behind the shield; never feel "
    "for leaks."
)
_MIST = say(
    "Oil mist burns well below the flash point of the oil. Extract it; no flame, no hot surface, "
    "no sparks."
)
SAFETY = (
    _JET,
    _MIST,
    say("The engine maker's manual and local codes come before this report."),
)
"""The usual cautions at the bench, with the order of precedence."""

RULE_TEXT = {
    DecisionRule.GUARDED: say(
        "A value passes only where the measurement proves it within its limits at 95 %, and fails "
        "only where the measurement proves it outside (guard bands after ISO 14253-1). Between "
        "the two it is too close to tell, and the probability of conformity is given "
        "(JCGM 106:2012)."
    ),
    DecisionRule.SIMPLE: say(
        "The measured value itself decides, its uncertainty left out (simple acceptance, "
        "JCGM 106:2012, 8.2). Near a limit the verdict may be wrong either way; the probability "
        "of conformity says how likely it is right."
    ),
}
"""The decision rule in plain words."""

AS_FOUND = say("as found")
AS_LEFT = say("as left")
"""The two sittings of an injector."""


@dataclass(frozen=True)
class Fact:
    """One labelled fact."""

    label: str
    text: str


@dataclass(frozen=True)
class Scale:
    """Numbers for drawing a value against its limits, all in one trade unit."""

    name: str
    unit: str
    value: float
    low: float
    """Lower end of the 95 % interval."""
    high: float
    lower_limit: float | None
    upper_limit: float | None
    guard: float
    """Width of the guard band outside each limit, where a fail is not proved; 0 without one."""
    accept_from: float | None
    """Lowest measured value that passes; None: no lower limit."""
    accept_to: float | None
    can_pass: bool
    """Whether any measured value could pass with this uncertainty."""
    caption: str
    """The value in words, with its verdict."""


@dataclass(frozen=True)
class TestCell:
    """One test in one sitting."""

    __test__ = False  # not a test class for pytest

    outcome: Outcome
    value: ValueText | None
    """What was measured; None where a person's eye or ear decided."""
    said: str
    """What to print beside the outcome: the value, or what was seen, or both."""
    seen: str = ""
    """What was seen or heard alone."""
    probability: str = ""
    """Probability of conformity in words; empty where it does not apply."""
    reasons: tuple[str, ...] = ()
    scale: Scale | None = None


@dataclass(frozen=True)
class TestRow:
    """One test of one injector, as found beside as left."""

    __test__ = False  # not a test class for pytest

    name: str
    limit: str
    as_found: TestCell | None
    as_left: TestCell | None

    @property
    def latest(self) -> TestCell:
        """The cell that the verdict is about."""
        cell = self.as_left or self.as_found
        if cell is None:
            raise ValueError(f"the row of {self.name} has no cell")
        return cell


@dataclass(frozen=True)
class ValueRow:
    """One measured value, as found beside as left."""

    name: str
    as_found: ValueText | None
    as_left: ValueText | None


@dataclass(frozen=True)
class SeenRow:
    """One thing that a person saw or did, as found beside as left; empty where not noted."""

    name: str
    as_found: str
    as_left: str


@dataclass(frozen=True)
class ActionText:
    """One thing to do next."""

    do: str
    why: str
    predicted: str
    """Opening pressure to be expected afterwards; empty where it does not change."""
    caution: str
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class SourceText:
    """Where the values of one sitting come from."""

    sitting: str
    """``as found`` or ``as left``."""
    name: str
    digest: str
    by_hand: bool
    history: tuple[str, ...]


@dataclass(frozen=True)
class InjectorPage:
    """All that is said about one injector."""

    cylinder: int
    identity: str
    outcome: InjectorOutcome
    sitting: str
    """Which sitting the outcome is about: ``as left`` or ``as found``."""
    reasons: tuple[str, ...]
    actions: tuple[ActionText, ...]
    next_test: str
    tests: tuple[TestRow, ...]
    values: tuple[ValueRow, ...]
    seen: tuple[SeenRow, ...]
    """What the fitter saw, heard and noted; shims."""
    leak_paths: tuple[Fact, ...]
    """Which leak it is, sitting by sitting, as far as it can be told."""
    inspection: tuple[Fact, ...]
    """Part, with what was seen on it and what that asks for."""
    cautions: tuple[str, ...]
    """All cautions on the values of this page, each once."""
    sources: tuple[SourceText, ...]

    def test(self, test: BenchTest) -> TestRow:
        """Return the row of one test."""
        return next(row for row in self.tests if row.name == str(test))


@dataclass(frozen=True)
class SetPoint:
    """One injector in the picture of the set, pressures in bar."""

    cylinder: int
    as_found: tuple[float, float, float] | None
    """Value, lower and upper end of the 95 % interval."""
    as_left: tuple[float, float, float] | None


@dataclass(frozen=True)
class SetScale:
    """Numbers for drawing the opening pressures of the set, in bar."""

    points: tuple[SetPoint, ...]
    lower_limit: float | None
    upper_limit: float | None
    target: float | None
    mean: float | None
    odd_one_out: int | None
    """Cylinder that stands farthest from the others."""


@dataclass(frozen=True)
class SpreadText:
    """How far the set lies apart."""

    value: ValueText
    limit: str
    outcome: Outcome
    probability: str
    mean: ValueText
    odd_one_out: str
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class InjectorInShort:
    """What one injector's tests came to, without its page."""

    cylinder: int
    identity: str
    outcome: InjectorOutcome
    tests: tuple[TestRow, ...]


@dataclass(frozen=True)
class SetInShort:
    """The set side by side: what of its report a screen shows at once."""

    headline: str
    spread: SpreadText
    scale: SetScale
    injectors: tuple[InjectorInShort, ...]


@dataclass(frozen=True)
class SetReport:
    """All that is handed over about one set."""

    title: str
    invented: bool
    """Whether set or sheet is an invented example; then every page says so."""
    made_on: str
    """ISO 8601."""
    facts: tuple[Fact, ...]
    headline: str
    """The set's result in one line."""
    reasons: tuple[str, ...]
    spread: SpreadText
    scale: SetScale
    injectors: tuple[InjectorPage, ...]
    sheet: tuple[Fact, ...]
    bench: tuple[Fact, ...]
    rule: str
    reading_rule: str
    safety: tuple[str, ...]
    fitting: FittingSheet


def set_report(
    engine_set: EngineSet,
    sheet: SettingSheet,
    verdict: SetVerdict,
    advice: tuple[Advice, ...],
    conditions: BenchConditions,
    made_on: date,
    rig: RigVerdict | None = None,
) -> SetReport:
    """Return everything that the report of a set says.

    Parameters
    ----------
    engine_set : EngineSet
        The set as booked in, with its sittings
    sheet : SettingSheet
        The sheet it was judged against
    verdict : SetVerdict
        The verdict on each injector and on the set
    advice : tuple of Advice
        Next actions, one for each injector
    conditions : BenchConditions
        Rig, gauge, fluid and temperature of the sitting
    made_on : datetime.date
        Date of the report
    rig : RigVerdict, optional
        Whether the rig of the tests was fit for use
    """
    by_cylinder = {item.cylinder: item for item in advice}
    found = {item.injector.cylinder: item for item in verdict.as_found}
    pages = tuple(
        _injector_page(
            item, found.get(item.injector.cylinder), by_cylinder.get(item.injector.cylinder)
        )
        for item in verdict.injectors
    )
    return SetReport(
        title=printable(engine_set.title) or say("Set without a title"),
        invented=engine_set.invented or sheet.invented,
        made_on=made_on.isoformat(),
        facts=_set_facts(engine_set),
        headline=_headline(verdict),
        reasons=_clean(verdict.reasons),
        spread=_spread_text(verdict),
        scale=_set_scale(engine_set, sheet, verdict),
        injectors=pages,
        sheet=_sheet_facts(sheet, engine_set.condition),
        bench=(*bench_facts(conditions), *rig_facts(rig)),
        rule=RULE_TEXT[sheet.rule],
        reading_rule=READING_RULE,
        safety=SAFETY,
        fitting=fitting_sheet(engine_set, sheet, verdict, advice),
    )


def set_in_short(engine_set: EngineSet, sheet: SettingSheet, verdict: SetVerdict) -> SetInShort:
    """Return what the report of a set says of it side by side.

    Parameters
    ----------
    engine_set, sheet, verdict
        As of :func:`set_report`
    """
    found = {item.injector.cylinder: item for item in verdict.as_found}
    return SetInShort(
        headline=_headline(verdict),
        spread=_spread_text(verdict),
        scale=_set_scale(engine_set, sheet, verdict),
        injectors=tuple(
            InjectorInShort(
                item.injector.cylinder,
                printable(item.injector.identity),
                item.outcome,
                _tests_of(item, found.get(item.injector.cylinder)),
            )
            for item in verdict.injectors
        ),
    )


def _clean(texts: Sequence[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(clean for text in texts if (clean := printable(text))))


def _facts(*pairs: tuple[str, str]) -> tuple[Fact, ...]:
    return tuple(Fact(label, clean) for label, text in pairs if (clean := printable(text)))


def _set_facts(engine_set: EngineSet) -> tuple[Fact, ...]:
    parts = (
        say("new or overhauled parts")
        if engine_set.condition is Condition.NEW
        else say("used parts")
    )
    return _facts(
        (say("Engine"), engine_set.engine),
        (say("Customer"), engine_set.customer),
        (say("Workshop"), engine_set.workshop),
        (say("Fitter"), engine_set.fitter),
        (say("Tested on"), engine_set.date),
        (say("Judged as"), parts),
        (say("Symptoms"), engine_set.symptoms),
    )


_OUTCOME_PHRASE = {
    InjectorOutcome.FIT: say("fit"),
    InjectorOutcome.ADJUST: say("to adjust"),
    InjectorOutcome.REWORK: say("to rework"),
    InjectorOutcome.EXCHANGE: say("to exchange"),
    InjectorOutcome.UNFINISHED: say("unfinished"),
}


def _headline(verdict: SetVerdict) -> Said:
    total = len(verdict.injectors)
    counted = Counter(item.outcome for item in verdict.injectors)
    apart = verdict.spread_outcome is Outcome.FAIL
    if not total:
        return say("No injector was tested.")
    if counted[InjectorOutcome.FIT] == total:
        all_fit = (
            say("The injector is fit for use")
            if total == 1
            else say("All {total} are fit for use", total=total)
        )
        if apart:
            return say("{all_fit}, but their opening pressures lie too far apart.", all_fit=all_fit)
        return joined("", [all_fit, "."])
    parts = joined(
        ", ",
        [
            say("{number} {outcome}", number=counted[outcome], outcome=phrase)
            for outcome, phrase in _OUTCOME_PHRASE.items()
            if counted[outcome]
        ],
    )
    if apart:
        return say(
            "Of {total}: {outcomes}; the opening pressures lie too far apart.",
            total=total,
            outcomes=parts,
        )
    return say("Of {total}: {outcomes}.", total=total, outcomes=parts)


def _spread_text(verdict: SetVerdict) -> SpreadText:
    limit = limit_text(None, verdict.spread_limit_pa, "Pa")
    probability = verdict.spread_probability
    return SpreadText(
        value=value_text(verdict.spread),
        limit=limit or say("the sheet sets no limit"),
        outcome=verdict.spread_outcome,
        probability="" if probability is None else percent(probability),
        mean=value_text(verdict.mean),
        odd_one_out=printable(verdict.odd_one_out.text) if verdict.odd_one_out else "",
        reasons=_clean(verdict.spread_reasons),
    )


def _set_scale(engine_set: EngineSet, sheet: SettingSheet, verdict: SetVerdict) -> SetScale:
    band = sheet.opening_band(engine_set.condition)
    points = tuple(
        SetPoint(
            injector.cylinder,
            as_found=_opening_interval(injector.as_found),
            as_left=_opening_interval(injector.as_left),
        )
        for injector in engine_set.injectors
    )
    return SetScale(
        points=points,
        lower_limit=BAR.value(band.lower_pa) if band else None,
        upper_limit=BAR.value(band.upper_pa) if band else None,
        target=BAR.value(band.target_pa) if band else None,
        mean=BAR.value(verdict.mean.value) if isinstance(verdict.mean, Quantity) else None,
        odd_one_out=verdict.odd_one_out.cylinder if verdict.odd_one_out else None,
    )


def _opening_interval(sitting: TestSitting | None) -> tuple[float, float, float] | None:
    if sitting is None or sitting.gauge is None:
        return None
    opening = sitting.gauge.opening_pressure
    if isinstance(opening, NotMeasured):
        return None
    low, high = opening.coverage_interval
    return BAR.value(opening.value), BAR.value(low), BAR.value(high)


# -- the page of one injector ----------------------------------------------------------------


def _injector_page(
    latest: InjectorVerdict, found: InjectorVerdict | None, advice: Advice | None
) -> InjectorPage:
    injector = latest.injector
    sittings = [
        (name, sitting)
        for name, sitting in ((AS_FOUND, injector.as_found), (AS_LEFT, injector.as_left))
        if sitting is not None
    ]
    values = _value_rows(injector.as_found, injector.as_left)
    return InjectorPage(
        cylinder=injector.cylinder,
        identity=printable(injector.identity),
        outcome=latest.outcome,
        sitting=AS_LEFT if latest.as_left else AS_FOUND,
        reasons=_clean(latest.reasons),
        actions=tuple(_action_text(action) for action in (advice.actions if advice else ())),
        next_test=printable(advice.next_test) if advice else "",
        tests=_tests_of(latest, found),
        values=values,
        seen=_seen_rows(injector.as_found, injector.as_left),
        leak_paths=_leak_paths(sittings),
        inspection=_inspection_facts(sittings),
        cautions=_cautions(sittings, values),
        sources=tuple(
            SourceText(
                sitting=name,
                name=printable(sitting.gauge.source),
                digest=sitting.gauge.digest,
                by_hand=sitting.gauge.by_hand,
                history=_clean(sitting.gauge.history),
            )
            for name, sitting in sittings
            if sitting.gauge is not None
        ),
    )


def _tests_of(latest: InjectorVerdict, found: InjectorVerdict | None) -> tuple[TestRow, ...]:
    left = latest if latest.as_left else None
    return _test_rows(found if left or found else latest, left)


def _test_rows(found: InjectorVerdict | None, left: InjectorVerdict | None) -> tuple[TestRow, ...]:
    rows = []
    for test in BenchTest:
        verdicts = [_verdict_of(item, test) for item in (found, left)]
        stated = [verdict for verdict in verdicts if verdict is not None]
        if not stated:
            continue
        cells = [
            None if item is None or verdict is None else _test_cell(item, verdict)
            for item, verdict in zip((found, left), verdicts, strict=True)
        ]
        rows.append(TestRow(word(test), printable(stated[-1].limit), cells[0], cells[1]))
    return tuple(rows)


def _verdict_of(item: InjectorVerdict | None, test: BenchTest) -> Verdict | None:
    if item is None:
        return None
    return next((verdict for verdict in item.verdicts if verdict.test is test), None)


def _test_cell(item: InjectorVerdict, verdict: Verdict) -> TestCell:
    injector = item.injector
    sitting = injector.as_left if item.as_left else injector.as_found
    unit = PER_STROKE if verdict.test is BenchTest.CHATTER else None
    value = None if verdict.measured is None else value_text(verdict.measured, unit)
    reasons = (*verdict.reasons, *((verdict.cannot_judge,) if verdict.cannot_judge else ()))
    seen = _seen_text(verdict.test, sitting.seen) if sitting else ""
    # The seat is judged by what was seen; its number only says how far below opening that was.
    shown = value is not None and value.measured and not (seen and verdict.test is BenchTest.SEAT)
    measured = value.text if value is not None and shown else ""
    probability = verdict.probability_of_conformity
    return TestCell(
        outcome=verdict.outcome,
        value=value,
        said=_joined(measured, seen, _no_result(verdict, sitting)),
        seen=seen,
        probability="" if probability is None else percent(probability),
        reasons=_clean(reasons),
        scale=_scale(verdict, value, unit),
    )


def _no_result(verdict: Verdict, sitting: TestSitting | None) -> str:
    if sitting is None or not sitting.seen.no_result:
        return ""
    if verdict.outcome is not Outcome.NOT_DONE or verdict.test is BenchTest.INSPECTION:
        return ""
    return say("no result: {reason}", reason=sitting.seen.no_result)


def _seen_text(test: BenchTest, seen: FitterObservations) -> str:
    if test is BenchTest.SPRAY and seen.spray is not None:
        return word(seen.spray)
    if test is BenchTest.CHATTER and seen.chatter is not None:
        return word(seen.chatter)
    if test is BenchTest.SEAT:
        grade = seen.seat or seen.seat_watch.grade
        return "" if grade is None else word(grade)
    if test is BenchTest.INSPECTION and seen.inspection:
        count = len(seen.inspection)
        return say("1 finding") if count == 1 else say("{count} findings", count=count)
    return ""


def _scale(verdict: Verdict, value: ValueText | None, unit: TradeUnit | None) -> Scale | None:
    measured = verdict.measured
    if value is None or not isinstance(measured, Quantity):
        return None
    if verdict.lower is None and verdict.upper is None:
        return None
    unit = unit or trade_unit(measured.unit)
    low, high = (unit.value(bound) for bound in measured.coverage_interval)
    chance = verdict.probability_of_conformity
    caption = say("{value}: {outcome}", value=value.text, outcome=verdict.outcome)
    if chance is not None:
        caption = say(
            "{caption}, within limits with {chance}",
            caption=caption,
            chance=percent(chance),
        )
    rule = verdict.rule or DecisionRule.SIMPLE
    u = unit.width(measured.standard_uncertainty) * measured.student_factor
    lower, upper = (
        None if limit is None else unit.value(limit) for limit in (verdict.lower, verdict.upper)
    )
    zone = acceptance_zone(u, lower, upper, rule)
    return Scale(
        name=word(verdict.test),
        unit=unit.printed,
        value=unit.value(measured.value),
        low=low,
        high=high,
        lower_limit=lower,
        upper_limit=upper,
        guard=GUARD_FACTOR * u if rule is DecisionRule.GUARDED else 0.0,
        accept_from=zone[0] if zone else None,
        accept_to=zone[1] if zone else None,
        can_pass=zone is not None,
        caption=caption,
    )


def _hold_of(sitting: TestSitting | None) -> Hold | NotMeasured | None:
    return None if sitting is None or sitting.gauge is None else sitting.gauge.hold


def _value_rows(found: TestSitting | None, left: TestSitting | None) -> tuple[ValueRow, ...]:
    columns = [_values_of(sitting) for sitting in (found, left)]
    rows = []
    for name in dict.fromkeys(name for column in columns for name in column):
        cells = [column.get(name) for column in columns]
        rows.append(ValueRow(name, cells[0], cells[1]))
    return tuple(rows)


def _values_of(sitting: TestSitting | None) -> dict[str, ValueText]:
    if sitting is None or sitting.gauge is None:
        return {}
    gauge = sitting.gauge
    values: dict[str, Measured] = {
        say("Opening pressure"): gauge.opening_pressure,
        say("Closing pressure"): gauge.closing_pressure,
    }
    if isinstance(gauge.second_opening_pressure, Quantity):
        values[say("Second opening pressure")] = gauge.second_opening_pressure
    values |= _hold_values(gauge.hold)
    values |= _seat_values(gauge.seat_hold)
    worded = {name: value_text(measured) for name, measured in values.items()}
    if isinstance(gauge.chatter, Chatter):
        chatter = gauge.chatter
        worded[say("Chatter, openings")] = value_text(chatter.openings_per_stroke, PER_STROKE)
        worded[say("Chatter, rate in a stroke")] = value_text(chatter.rate)
        worded[say("Chatter, scatter of intervals")] = value_text(chatter.regularity, PER_CENT)
    else:
        worded[say("Chatter")] = value_text(gauge.chatter)
    return worded


def _hold_values(hold: Hold | NotMeasured) -> dict[str, Measured]:
    if isinstance(hold, NotMeasured):
        return {say("Drop time"): hold}
    return {
        say("Drop time, as shown"): hold.drop_time_as_shown,
        say("Drop time, at reference"): hold.drop_time_at_reference,
        say("Leakage of the injector"): hold.leakage_conductance,
        say("Effective hydraulic clearance"): hold.guide_clearance,
    }


def _seat_values(hold: SeatHold | NotMeasured) -> dict[str, Measured]:
    if isinstance(hold, NotMeasured):
        return {say("Seat hold"): hold}
    return {
        say("Seat hold, below opening by"): hold.margin_below_opening,
        say("Seat hold, held for"): hold.duration,
        say("Seat hold, fall"): hold.fall,
    }


def _seen_rows(found: TestSitting | None, left: TestSitting | None) -> tuple[SeenRow, ...]:
    columns = [{} if sitting is None else _seen_of(sitting) for sitting in (found, left)]
    rows = []
    for name in dict.fromkeys(name for column in columns for name in column):
        cells = [printable(column.get(name, "")) for column in columns]
        if any(cells):
            rows.append(SeenRow(name, cells[0], cells[1]))
    return tuple(rows)


def _seen_of(sitting: TestSitting) -> dict[str, str]:
    seen = sitting.seen
    slide: dict[bool | None, str] = {
        True: say("fell freely to its seat"),
        False: say("did not fall freely"),
        None: "",
    }
    shim = ""
    if sitting.shim_mm is not None:
        shim = with_unit(shim_thickness(sitting.shim_mm / 1e3), MILLIMETRE.printed)
    return {
        say("Shim"): shim,
        say("Spray"): _joined(seen.spray and word(seen.spray), seen.spray_note),
        say("Chatter"): word(seen.chatter) if seen.chatter else "",
        say("Needle slide"): slide[seen.needle_slide],
        say("Tip"): _tip_text(sitting),
        say("No result, because"): _own(seen.no_result),
        say("Note"): seen.note,
    }


def _own(reason: NoResult | str) -> str:
    return word(reason) if isinstance(reason, NoResult) else reason


def _tip_text(sitting: TestSitting) -> str:
    seen, gauge = sitting.seen, sitting.gauge
    watch = seen.seat_watch
    if gauge is not None and isinstance(gauge.seat_hold, SeatHold):
        watch = gauge.seat_hold.watch
    if watch.grade or watch.leak_off_drops is not None or watch.outside_leak:
        return watch_text(watch)
    return word(seen.seat) if seen.seat else ""


def _leak_paths(sittings: list[tuple[Said, TestSitting]]) -> tuple[Fact, ...]:
    told: dict[str, list[str]] = {}
    for name, sitting in sittings:
        hold = _hold_of(sitting)
        if isinstance(hold, Hold) and hold.leak_path:
            told.setdefault(printable(hold.leak_path), []).append(name)
    return tuple(Fact(listed(names), text) for text, names in told.items() if text)


def _joined(*parts: str | None) -> str:
    return joined("; ", [part for part in parts if part])


def _inspection_facts(sittings: list[tuple[Said, TestSitting]]) -> tuple[Fact, ...]:
    return _facts(
        *(
            (
                printable(finding.part),
                say(
                    "{seen} ({asks}, {sitting})",
                    seen=finding.seen,
                    asks=finding.severity,
                    sitting=name,
                ),
            )
            for name, sitting in sittings
            for finding in sitting.seen.inspection
        )
    )


def _cautions(
    sittings: list[tuple[Said, TestSitting]], values: tuple[ValueRow, ...]
) -> tuple[str, ...]:
    said: list[str] = []
    for _, sitting in sittings:
        gauge: GaugeFindings | None = sitting.gauge
        if gauge is None:
            continue
        said += caution_texts(gauge.cautions)
        for hold in (gauge.hold, gauge.seat_hold):
            if isinstance(hold, Hold | SeatHold):
                said += caution_texts(hold.cautions)
    for row in values:
        for cell in (row.as_found, row.as_left):
            said += cell.cautions if cell else ()
    return _clean(said)


def _action_text(action: NextAction) -> ActionText:
    predicted = ""
    if isinstance(action.predicted_opening, Quantity):
        predicted = value_text(action.predicted_opening).text
    return ActionText(
        do=printable(action.do),
        why=printable(action.why),
        predicted=predicted,
        caution=printable(action.caution),
        warnings=_clean(action.warnings),
    )


# -- sheet and bench -------------------------------------------------------------------------


def _sheet_facts(sheet: SettingSheet, condition: Condition) -> tuple[Fact, ...]:
    band = sheet.opening_band(condition)
    spread = _printed(sheet.spread_printed) or limit_text(None, sheet.spread_pa, "Pa")
    return _facts(
        (say("Sheet"), sheet.title),
        (say("Injector"), sheet.injector),
        (say("Source"), sheet.source),
        (say("Opening pressure"), _printed(band.printed if band else None)),
        (say("Seat"), _printed(sheet.seat.printed if sheet.seat else None)),
        (say("Back-leakage"), _printed(sheet.back_leakage.printed if sheet.back_leakage else None)),
        (say("Leak-off"), _printed(sheet.leak_off.printed if sheet.leak_off else None)),
        (say("Spread"), spread),
        (say("Digest"), sheet.digest[:16]),
    )


def _printed(printed: AsPrinted | None) -> str:
    if printed is None:
        return ""
    return f"{printed.text} ({printed.where})" if printed.where else printed.text


def bench_facts(conditions: BenchConditions) -> tuple[Fact, ...]:
    """Return rig, gauge, fluid and temperature in words; what is not known is said to be so."""
    fluid = conditions.fluid
    temperature = conditions.oil_temperature
    return _facts(
        (say("Rig"), _rig_text(conditions.rig)),
        (say("Gauge"), gauge_text(conditions.gauge)),
        (say("Fluid"), fluid.name if fluid else say("not stated")),
        (
            say("Oil temperature"),
            value_text(temperature).text if temperature else say("not stated"),
        ),
        (
            say("Blank plug"),
            say("recorded") if conditions.blank_plug else say("not recorded"),
        ),
        (say("Sitting"), conditions.sitting),
    )


def rig_facts(rig: RigVerdict | None) -> tuple[Fact, ...]:
    """Return what the check of the rig came to; nothing where the card demands nothing of it."""
    if rig is None or not any(one.limit for one in rig.items):
        return ()
    return _facts(
        (
            say("Rig check"),
            say("{state:capital}. {why}", state=rig.fitness, why=joined(" ", rig.reasons)),
        )
    )


def _rig_text(rig: Rig) -> str:
    parts = [rig.identity or say("not named")]
    if rig.compliance is not None:
        parts.append(say("compliance {value}", value=value_text(rig.compliance).text))
    elif rig.volume_m3 is not None:
        parts.append(say("trapped oil {value}", value=value_text(rig.volume_m3).text))
    return joined(", ", parts)


def gauge_text(gauge: Gauge) -> str:
    """Return what is known of a gauge in words."""
    parts = [gauge.identity or say("not named")]
    if gauge.range_pa is not None:
        parts.append(say("range {range}", range=_exact_pressure(gauge.range_pa)))
    if gauge.certificate:
        parts.append(say("certificate with {count} points", count=len(gauge.certificate)))
    elif gauge.accuracy_class is not None:
        accuracy_class = plain_number(gauge.accuracy_class)
        parts.append(say("class {accuracy} of span (EN 837-1)", accuracy=accuracy_class))
    if gauge.resolution_pa is not None:
        parts.append(say("reads {step}", step=_exact_pressure(gauge.resolution_pa)))
    if gauge.calibrated_on:
        parts.append(say("calibrated {date}", date=gauge.calibrated_on))
    return joined(", ", parts)


def _exact_pressure(pressure_pa: float) -> str:
    return with_unit(plain_number(BAR.value(pressure_pa), BAR.printed), BAR.printed)
