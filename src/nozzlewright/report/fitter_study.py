"""What a study of fitters means at the bench: in words, as rows of a table, as data."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from nozzlewright.analysis.agreement import GradeStudy, Kappa
from nozzlewright.analysis.gauge_study import (
    FITTER,
    STUDY_SPREAD,
    Component,
    GaugeStudy,
    RangeStudy,
)
from nozzlewright.measurement import NotMeasured, Quantity, decimals_for
from nozzlewright.report.reading import quantity_data
from nozzlewright.report.wording import (
    TradeUnit,
    number,
    plain_number,
    trade_unit,
    value_text,
    width_text,
    with_unit,
)
from nozzlewright.said import Said, figure, joined, say

SCHEMA = "nozzlewright/fitter-study/1"
"""Name and version of the data; the number goes up when a reader of it could be misled."""
GOOD_BELOW, BAD_ABOVE = 0.10, 0.30
"""Bounds of GRR over TV, or over the tolerance: AIAG, Measurement Systems Analysis, 4th edition
(from memory). A convention."""
SEEN_BELOW = 0.05
"""p below which a difference of the fitters' levels is called seen: the usual convention."""
_WIDTH = 96


@dataclass(frozen=True)
class ShareRow:
    """One row of the table of shares."""

    name: str
    short: str
    """What the trade's tables call it: ``EV``, ``AV``, ``GRR``, ``PV``, ``TV``."""
    deviation: str
    """With its interval; or why it is not known."""
    of_variance: str
    """In per cent; these add up."""
    of_total: str
    of_tolerance: str
    variance: float | None
    """Share of the variance, 0 to 1, for a picture; None where it is not known."""


def share_rows(study: GaugeStudy) -> tuple[ShareRow, ...]:
    """Return the table of shares: what lies in a fitter's hand, between fitters, in injectors."""
    rows = (
        (say("one fitter, again and again (repeatability)"), "EV", study.repeatability),
        (say("between fitters"), "", study.fitter),
        (say("fitter with injector (interaction)"), "", study.interaction),
        (say("all between fitters (reproducibility)"), "AV", study.reproducibility),
        (say("rig and fitters together"), "GRR", study.gauge),
        (say("between injectors"), "PV", study.part),
        (say("all together"), "TV", study.total),
    )
    return tuple(_row(name, short, share) for name, short, share in rows)


def _row(name: Said, short: str, share: Component | NotMeasured) -> ShareRow:
    if isinstance(share, NotMeasured):
        return ShareRow(name, short, share.sentence, "", "", "", None)
    return ShareRow(
        name,
        short,
        spread_text(share.deviation),
        percent(share.of_variance),
        percent(share.of_total),
        percent(share.of_tolerance),
        share.of_variance,
    )


def percent(share: float | None) -> str:
    """Return a share in per cent; empty where it is not known.

    >>> percent(0.2786).replace("\N{NO-BREAK SPACE}", " "), percent(None)
    ('28 %', '')
    """
    if share is None:
        return ""
    size = 100.0 * share
    return with_unit(number(size, 1 if 0.05 <= size < 9.95 else 0), "%")


def amount(value: float, unit_si: str) -> str:
    """Return a width in its trade unit, to two significant digits.

    >>> amount(83_400.0, "Pa").replace("\N{NO-BREAK SPACE}", " ")
    '0.83 bar'
    """
    unit = trade_unit(unit_si)
    return width_text(unit.width(value), unit) or with_unit(plain_number(0.0), unit.printed)


def spread_text(spread: Quantity) -> str:
    """Return a standard deviation, or a limit made of one, with its interval.

    Two significant digits of each: the intervals are so lopsided that the places of their width
    would leave nothing of the value.

    >>> found = Quantity(83_400.0, "Pa", interval=(51_000.0, 412_000.0))
    >>> spread_text(found).replace("\N{NO-BREAK SPACE}", " ")
    '0.83 bar (0.51 to 4.1 bar)'
    """
    unit = trade_unit(spread.unit)
    low, high = (_size(end, unit) for end in spread.coverage_interval)
    return say(
        "{value} ({low} to {high})",
        value=amount(spread.value, spread.unit),
        low=low,
        high=with_unit(high, unit.printed),
    )


def _size(value: float, unit: TradeUnit) -> str:
    width = unit.width(value)
    if width <= 0.0:
        return plain_number(0.0, unit.printed)
    return number(width, decimals_for(width) if width < 100.0 else 0, unit.printed)


# -- readings --------------------------------------------------------------------------------------


def study_words(study: GaugeStudy) -> tuple[str, ...]:
    """Return what a study means at the bench, the most useful sentence first."""
    return (
        *_apart(study),
        *_shares(study),
        *_levels(study),
        *_do(study),
        *(
            say(
                "{fitter} on injector {part}: the repeats lie {spread} apart, more than the "
                "{limit} that the others allow. Look at what happened there",
                fitter=odd.fitter,
                part=odd.part,
                spread=amount(odd.spread, study.unit),
                limit=amount(odd.limit, study.unit),
            )
            for odd in study.odd_cells
        ),
        *_cross_check(study),
        *study.notes,
    )


def _apart(study: GaugeStudy) -> Iterator[str]:
    if study.gauge.deviation.value > 0.0:
        yield say(
            "Rig and fitters together cannot tell two injectors apart that lie closer than "
            "{limit}, each read once",
            limit=spread_text(study.told_apart),
        )
        if isinstance(study.reproducibility, Component):
            yield say(
                "Where one fitter reads both, it is {limit}",
                limit=spread_text(study.told_apart_by_one),
            )
    groups, exact, ends = study.distinct_categories, study.categories, study.categories_interval
    if isinstance(groups, NotMeasured):
        yield _missing(groups)
        return
    if isinstance(exact, NotMeasured) or isinstance(ends, NotMeasured):
        return
    found = {
        "exact": figure(exact, ".2f"),
        "low": figure(ends[0], ".1f"),
        "high": figure(ends[1], ".1f") if math.isfinite(ends[1]) else say("any more"),
    }
    if groups < 2:
        yield say(
            "No two groups of these injectors can be told apart by single readings ({exact}; "
            "interval {low} to {high})",
            **found,
        )
    else:
        yield say(
            "{number} groups of these injectors can be told apart ({exact}, cut off; interval "
            "{low} to {high})",
            number=groups,
            **found,
        )


def _cross_check(study: GaugeStudy) -> Iterator[str]:
    if isinstance(study.by_ranges, RangeStudy):
        yield say(
            "Cross-check by averages and ranges, as done on paper: rig and fitters {gauge}, "
            "injectors {part}",
            gauge=amount(study.by_ranges.gauge, study.unit),
            part=amount(study.by_ranges.part, study.unit),
        )


def _missing(missing: NotMeasured) -> Said:
    return say("Not told: {reason}; {remedy}", reason=missing.reason, remedy=missing.remedy)


def _shares(study: GaugeStudy) -> Iterator[str]:
    told = [
        percent(one.of_variance)
        for one in (study.part, study.repeatability, study.reproducibility)
        if isinstance(one, Component) and one.of_variance is not None
    ]
    if len(told) == 3:
        part, repeat, between = told
        yield say(
            "Of what makes the readings differ (variance), {part} is in the injectors, {repeat} in "
            "the repeats of one fitter, {between} between fitters",
            part=part,
            repeat=repeat,
            between=between,
        )
    share = study.gauge_of_total
    if isinstance(share, Quantity):
        low, high = share.coverage_interval
        yield say(
            "The deviation of rig and fitters is {share} of the whole (interval {low} to {high}): "
            "{word} by the usual convention (AIAG)",
            share=percent(share.value),
            low=percent(low),
            high=percent(high),
            word=_rating(share.value),
        )
    if study.gauge.of_tolerance is not None and study.tolerance is not None:
        yield say(
            "{number} deviations of rig and fitters take up {share} of the {tolerance} that are "
            "allowed: {word} by the same convention",
            number=round(STUDY_SPREAD),
            share=percent(study.gauge.of_tolerance),
            tolerance=with_unit(
                plain_number(
                    trade_unit(study.unit).width(study.tolerance), trade_unit(study.unit).printed
                ),
                trade_unit(study.unit).printed,
            ),
            word=_rating(study.gauge.of_tolerance),
        )


def _rating(share: float) -> Said:
    if share < GOOD_BELOW:
        return say("good")
    return say("too much") if share > BAD_ABOVE else say("may do")


def _levels(study: GaugeStudy) -> Iterator[str]:
    row = next((row for row in study.table if row.source == FITTER), None)
    if row is None:
        return
    if row.p is None or row.p > SEEN_BELOW:
        yield say("The fitters' levels differ by no more than scatter explains")
        return
    means = study.values.mean(axis=(0, 2))
    high, low = int(means.argmax()), int(means.argmin())
    yield say(
        "{high} reads highest, {low} lowest: {apart} apart on average",
        high=study.fitters[high],
        low=study.fitters[low],
        apart=amount(float(means[high] - means[low]), study.unit),
    )


def _do(study: GaugeStudy) -> Iterator[str]:
    """Say where to begin (AIAG, 4th edition, chapter III, from memory)."""
    if study.gauge.of_total is not None and study.gauge.of_total < GOOD_BELOW:
        return
    if not isinstance(study.reproducibility, Component):
        return
    own, between = study.repeatability.deviation.value, study.reproducibility.deviation.value
    if between > own:
        yield say(
            "Fitters differ more than one of them scatters: agree how the reading is taken (speed "
            "of the lever, where the eye is, when the clock is stopped), then read again"
        )
    elif own > 0.0:
        yield say(
            "One fitter's own scatter outweighs what lies between fitters: look at the rig (air, "
            "valve, step and place of the gauge) and take the mean of several readings"
        )


# -- grades ----------------------------------------------------------------------------------------


def grade_words(study: GradeStudy) -> tuple[str, ...]:
    """Return what a study of grades means at the bench, the most useful sentence first."""
    return (*_together(study), *_each(study), *_pairs(study), *_split(study))


def _together(study: GradeStudy) -> Iterator[str]:
    yield say(
        "On {share} of the injectors all gave the same grade every time",
        share=percent(study.all_alike),
    )
    if isinstance(study.together, NotMeasured):
        yield _missing(study.together)
        return
    yield say(
        "Agreement beyond chance (Fleiss' kappa) is {kappa}: {word} (words of Landis and Koch "
        "1977, a convention)",
        kappa=value_text(study.together.kappa).text,
        word=study.together.strength,
    )
    for grade, share in study.by_grade.items():
        if not isinstance(share, NotMeasured):
            yield say(
                "Where one says {grade}, another does so in {share} of the cases",
                grade=Said(grade),
                share=percent(share),
            )


def _each(study: GradeStudy) -> Iterator[str]:
    for fitter, share in study.with_himself.items():
        if not isinstance(share, NotMeasured):
            yield say(
                "{fitter} gives the same grade again on {share} of the injectors",
                fitter=fitter,
                share=percent(share),
            )


def _pairs(study: GradeStudy) -> Iterator[str]:
    for pair in study.pairs:
        if isinstance(pair.kappa, NotMeasured):
            yield say(
                "{first} and {second} agree in {share} of the cases",
                first=pair.first,
                second=pair.second,
                share=percent(pair.agreed),
            )
        else:
            yield say(
                "{first} and {second} agree in {share} of the cases (Cohen's kappa, a near grade "
                "counting in part: {kappa})",
                first=pair.first,
                second=pair.second,
                share=percent(pair.agreed),
                kappa=value_text(pair.kappa).text,
            )


def _split(study: GradeStudy) -> Iterator[str]:
    if study.split:
        yield say(
            "Divided on injector {parts}: look at these together, and agree where one grade ends "
            "and the next begins",
            parts=joined(", ", study.split[:10]),
        )


# -- text and data ---------------------------------------------------------------------------------


def study_as_lines(study: GaugeStudy | GradeStudy) -> tuple[str, ...]:
    """Return a study as messages, one for each line of a summary."""
    count = say(
        "{parts} injectors, {fitters} fitters, {repeats} times each",
        parts=len(study.parts),
        fitters=len(study.fitters),
        repeats=study.repeats,
    )
    if isinstance(study, GradeStudy):
        return (count, *grade_words(study))
    rows = []
    for row in share_rows(study):
        name = joined(" ", [row.short, row.name] if row.short else [row.name])
        if row.of_variance:
            rows.append(
                say(
                    "{name}: {value}, {share} of the variance",
                    name=name,
                    value=row.deviation,
                    share=row.of_variance,
                )
            )
        else:
            rows.append(say("{name}: {value}", name=name, value=row.deviation))
    return (count, *rows, *study_words(study))


def wrapped(lines: Sequence[str]) -> str:
    """Return lines for a terminal, long ones folded."""
    return "\n".join(
        textwrap.fill(line, _WIDTH, subsequent_indent="    ", break_long_words=False)
        for line in lines
    )


def study_as_data(study: GaugeStudy | GradeStudy) -> dict[str, Any]:
    """Return a study as plain data for strict JSON, in trade units, unrounded."""
    head: dict[str, Any] = {
        "schema": SCHEMA,
        "injectors": list(study.parts),
        "fitters": list(study.fitters),
        "repeats": study.repeats,
        "words": [str(line) for line in _words(study)],
    }
    return head | (_grades(study) if isinstance(study, GradeStudy) else _readings(study))


def _words(study: GaugeStudy | GradeStudy) -> tuple[str, ...]:
    return grade_words(study) if isinstance(study, GradeStudy) else study_words(study)


def _readings(study: GaugeStudy) -> dict[str, Any]:
    unit = trade_unit(study.unit)
    shares = {
        "repeatability": study.repeatability,
        "between_fitters": study.fitter,
        "interaction": study.interaction,
        "reproducibility": study.reproducibility,
        "rig_and_fitters": study.gauge,
        "between_injectors": study.part,
        "total": study.total,
    }
    return {
        "unit": unit.plain,
        "mean": unit.value(study.mean),
        "tolerance": None if study.tolerance is None else unit.width(study.tolerance),
        "squares": [
            {
                "source": row.source,
                "sum_of_squares": row.sum_of_squares * unit.factor**2,
                "degrees_of_freedom": row.degrees,
                "mean_square": row.mean_square * unit.factor**2,
                "f": row.ratio,
                "p": row.p,
            }
            for row in study.table
        ],
        "interaction_pooled": study.pooled,
        "shares": {name: _share_data(share) for name, share in shares.items()},
        "categories": _or_missing(study.categories),
        "distinct_categories": _or_missing(study.distinct_categories),
        "categories_interval": _ends(study.categories_interval),
        "rig_and_fitters_of_total": _or_missing(study.gauge_of_total),
        "told_apart": quantity_data(study.told_apart),
        "told_apart_by_one_fitter": quantity_data(study.told_apart_by_one),
        "odd_repeats": [
            {
                "fitter": odd.fitter,
                "injector": odd.part,
                "spread": unit.width(odd.spread),
                "limit": unit.width(odd.limit),
            }
            for odd in study.odd_cells
        ],
        "by_ranges": _ranges_data(study),
    }


def _ends(found: tuple[float, float] | NotMeasured) -> Any:
    """Return the ends of an interval; None for one that is not bounded."""
    if isinstance(found, NotMeasured):
        return _missing_data(found)
    return [end if math.isfinite(end) else None for end in found]


def _ranges_data(study: GaugeStudy) -> dict[str, Any]:
    found, unit = study.by_ranges, trade_unit(study.unit)
    if not isinstance(found, RangeStudy):
        return _missing_data(found)
    return {
        "repeatability": unit.width(found.repeatability),
        "reproducibility": unit.width(found.reproducibility),
        "rig_and_fitters": unit.width(found.gauge),
        "between_injectors": unit.width(found.part),
        "total": unit.width(found.total),
        "categories": found.categories if math.isfinite(found.categories) else None,
    }


def _share_data(share: Component | NotMeasured) -> dict[str, Any]:
    if isinstance(share, NotMeasured):
        return _missing_data(share)
    return {
        "deviation": quantity_data(share.deviation),
        "of_variance": share.of_variance,
        "of_total": share.of_total,
        "of_tolerance": share.of_tolerance,
        "counted_as_zero": share.clipped,
    }


def _grades(study: GradeStudy) -> dict[str, Any]:
    return {
        "grades": list(study.grades),
        "all_alike": study.all_alike,
        "kappa": _kappa_data(study.together),
        "by_grade": {grade: _or_missing(share) for grade, share in study.by_grade.items()},
        "with_himself": {who: _or_missing(share) for who, share in study.with_himself.items()},
        "pairs": [
            {
                "first": pair.first,
                "second": pair.second,
                "agreed": pair.agreed,
                "kappa": _or_missing(pair.kappa),
            }
            for pair in study.pairs
        ],
        "divided_on": list(study.split),
    }


def _kappa_data(found: Kappa | NotMeasured) -> dict[str, Any]:
    if isinstance(found, NotMeasured):
        return _missing_data(found)
    by_chance = found.error_by_chance
    return {
        "value": quantity_data(found.kappa),
        "observed": found.observed,
        "expected": found.expected,
        "z": found.z if by_chance > 0.0 else None,
        "p": found.p if by_chance > 0.0 else None,
        "word": str(found.strength),
    }


def _or_missing(value: float | Quantity | NotMeasured) -> Any:
    if isinstance(value, NotMeasured):
        return _missing_data(value)
    return quantity_data(value) if isinstance(value, Quantity) else value


def _missing_data(missing: NotMeasured) -> dict[str, Any]:
    return {"not_measured": str(missing.reason), "remedy": str(missing.remedy)}
