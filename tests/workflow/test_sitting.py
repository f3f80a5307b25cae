"""Several tests of one injector, taken together."""

from __future__ import annotations

from dataclasses import replace

import pytest

from nozzlewright.measurement import NotMeasured
from nozzlewright.workflow.sitting import TestPart, together


@pytest.fixture
def builders(helper):
    return helper("judging/builders.py")


def test_the_hold_of_a_fall_does_not_stand_for_the_seat_s_own(builders):
    tested = builders.sitting().gauge
    unknown = NotMeasured("the opening pressure was not measured")
    seat = replace(tested, seat_hold=builders.seat_hold(20.0))
    fall = replace(
        tested,
        opening_pressure=unknown,
        seat_hold=builders.seat_hold(margin_below_opening=unknown),
    )

    assert together([TestPart(seat), TestPart(fall)]).seat_hold == seat.seat_hold
    assert together([TestPart(fall), TestPart(seat)]).seat_hold == seat.seat_hold
    assert together([TestPart(fall), TestPart(fall)]).seat_hold == fall.seat_hold
