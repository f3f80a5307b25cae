"""Which gauge would do, where the one at hand cannot judge a band at all."""

from __future__ import annotations

import math

from nozzlewright.judging.decision_rule import largest_uncertainty
from nozzlewright.judging.wording import about, bar, one_of, plain
from nozzlewright.measurement import Quantity
from nozzlewright.physics import EN837_CLASSES, en837_permissible_error
from nozzlewright.said import say

STANDARD_SPANS_PA = tuple(span * 1e5 for span in (60, 100, 160, 250, 400, 600, 1000, 1600))
"""Spans 0 to ... of EN 837-1:1996 (from memory), [Pa]."""
SHARE_OF_SPAN = 0.75
"""Steady pressures stay under three quarters of the span (EN 837-2, from memory)."""


def gauge_share(measured: Quantity) -> tuple[float, float]:
    """Return the standard uncertainty that is the gauge's, and that of all else, [unit]."""
    parts = measured.contributions.items()
    gauge = math.hypot(0.0, *(part for cause, part in parts if cause.name.startswith("gauge")))
    rest = math.hypot(0.0, *(part for cause, part in parts if not cause.name.startswith("gauge")))
    return gauge, rest


def sensible_span(pressure_pa: float) -> float:
    """Return the smallest standard span that keeps a pressure under three quarters of it, [Pa].

    >>> sensible_span(183e5) / 1e5
    250.0
    """
    for span in STANDARD_SPANS_PA:
        if pressure_pa <= SHARE_OF_SPAN * span:
            return span
    return pressure_pa / SHARE_OF_SPAN


def classes_that_suffice(span_pa: float, standard_uncertainty_pa: float) -> tuple[float, ...]:
    """Return the classes of EN 837-1 whose u on a span is no more than what is asked.

    The permissible error is taken as rectangular, u = error / sqrt(3) (JCGM 100:2008, 4.3.7).

    >>> classes_that_suffice(250e5, 2.04e5)
    (0.1, 0.25, 0.6, 1.0)
    """
    return tuple(
        accuracy_class
        for accuracy_class in EN837_CLASSES
        if en837_permissible_error(accuracy_class, span_pa) / math.sqrt(3.0)
        <= standard_uncertainty_pa
    )


def gauge_that_would_do(measured: Quantity, lower_pa: float, upper_pa: float) -> str:
    """Return why no reading can prove a band, and what would do; empty where one could.

    Parameters
    ----------
    measured : Quantity
        Opening pressure with its uncertainty, [Pa]
    lower_pa, upper_pa : float
        Band, [Pa]
    """
    needed = largest_uncertainty(lower_pa, upper_pa)
    have = measured.standard_uncertainty * measured.student_factor
    measured = measured.widened
    if have <= needed:
        return ""
    why = say(
        "No reading could prove a band of {band} with a standard uncertainty of {have}: even in "
        "its middle the probability of conformity stays under 95 %. It takes {needed} or less.",
        band=bar(upper_pa - lower_pa),
        have=about(have),
        needed=about(needed),
    )
    gauge, rest = gauge_share(measured)
    if rest >= needed:
        cause = max(
            (part for part in measured.budget if not part[0].name.startswith("gauge")),
            key=lambda part: part[1],
        )[0]
        return say(
            "{why} No gauge alone would help: mend the {cause} first.", why=why, cause=cause.name
        )
    if gauge == 0.0:
        return why
    left = math.sqrt(needed**2 - rest**2)
    span = sensible_span(upper_pa)
    enough = classes_that_suffice(span, left)
    certificate = say(
        "a calibration certificate with a standard uncertainty of {left} or less", left=about(left)
    )
    if not enough:
        return say(
            "{why} No class of EN 837-1 suffices on a span of 0 to {span}; {certificate} would do.",
            why=why,
            span=bar(span),
            certificate=certificate,
        )
    return say(
        "{why} On a span of 0 to {span} a gauge to EN 837-1 of class {classes} would do, or "
        "{certificate}.",
        why=why,
        span=bar(span),
        classes=one_of([plain(one) for one in enough]),
        certificate=certificate,
    )
