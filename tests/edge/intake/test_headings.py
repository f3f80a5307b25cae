from __future__ import annotations

import pytest

from nozzlewright.edge.intake.headings import About, read_heading


@pytest.mark.parametrize(
    ("text", "named", "unit"),
    [
        ("pressure_bar", About.PRESSURE, "bar"),
        ("Pressure", About.PRESSURE, None),
        ("Time [µs]", About.TIME, "us"),
        ("TimeMs", About.TIME, "ms"),
        ("elapsed (min)", About.TIME, "min"),
        ("s", About.UNKNOWN, "s"),
        ("Pa", About.UNKNOWN, "Pa"),
        ("T", About.UNKNOWN, None),
        ("temp [°C]", About.UNKNOWN, None),
        ("lever_mm", About.UNKNOWN, None),
        ("rise_bar_per_s", About.UNKNOWN, None),
        ("dp/dt [bar/s]", About.UNKNOWN, None),
        ("Leitungsdruck in kPa", About.PRESSURE, "kPa"),
        ("Pressure bar (abs)", About.PRESSURE, "bar absolute"),
    ],
)
def test_a_heading_says_what_it_is_and_in_which_unit(
    text: str, named: About, unit: str | None
) -> None:
    heading = read_heading(text)
    assert heading.named is named
    assert (None if heading.unit is None else str(heading.unit)) == unit


@pytest.mark.parametrize(
    "text", ["p_set_bar", "ambient pressure [mbar]", "pressure_min", "max pressure (bar)", "dt_ms"]
)
def test_set_values_extremes_and_the_weather_stand_aside(text: str) -> None:
    assert read_heading(text).aside


def test_the_least_pressure_is_not_a_pressure_in_minutes() -> None:
    assert read_heading("pressure_min").unit is None
    assert str(read_heading("time_min").unit) == "min"
