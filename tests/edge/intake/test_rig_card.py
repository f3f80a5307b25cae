"""What a card says of the rig's check: read, refused, and written again."""

from __future__ import annotations

import pytest

from nozzlewright.edge.intake import read_conditions
from nozzlewright.edge.intake.conditions_text import conditions_text
from nozzlewright.errors import ConditionsFault
from nozzlewright.measurement import kelvin

WHOLE = """
[sitting]
date = "2026-03-04"

[fluid]
name = "invented oil"
temperature_c = 21.5
density = [[40.0, 807.1], [15.0, 824.5], [60.0, 793.0]]
batch = "lot 7"
filled_on = 2026-01-09
hours_used = 61.5

[gauge]
id = "G-1"
range_bar = 400.0
class = 1.0
resolution_bar = 1.0
calibrated_on = "2026-01-05"
next_calibration_on = "2027-01-05"
certificate_number = "K 0815"
certificate_c = 20.5

[rig]
id = "R-1"
compliance_mm3_per_bar = 2.2

[filter]
kind = "paper, 5 µm"
changed_on = "2026-01-09"

[probe]
id = "T-3"
u_c = 0.3
next_calibration_on = "2026-12-01"

[reference]
id = "N-0"
since = "2026-01-09"
opening_bar = 181.7
opening_u_bar = 0.4
opening_tolerance_bar = 3.0
drop_s = 21.3
drop_tolerance_s = 3.0
from_bar = 150
to_bar = 100
at_c = 40.0

[limits]
blank_fall_bar = 3.0
blank_fall_s = 60.0
blank_fall_from_bar = 150.0
zero_bar = 1.0
compliance_percent = 7.3
temperature_from_c = 15.0
temperature_to_c = 30.0
oil_days = 60
oil_hours = 200
filter_days = 60
remind_days = 30
baseline = 8

[check]
zero_bar = -0.1
opening_bar = [181.2, 180.9, 181.4]
drop = { from_bar = 150.0, to_bar = 100.0, seconds = 30.2 }
bled = [[200.0, 150.0, 0.11], [200.0, 100.0, 0.225]]
graduation_cm3 = 0.02
cylinder_percent = 1.1
strokes_bar = [0.0, 31.0, 62.0, 93.1]
piston_area_mm2 = 28.27
piston_area_u_mm2 = 0.1
travel_mm = 2.41
travel_u_mm = 0.05
stroke_s = 3.0
"""


def read(tmp_path, text):
    path = tmp_path / "bench.toml"
    path.write_text(text, encoding="utf-8")
    return read_conditions(path)


def test_all_that_a_card_says_of_the_check_is_read_in_si(tmp_path):
    known = read(tmp_path, WHOLE)
    rig = known.rig
    assert rig.filter.changed_on == known.fluid.filled_on == "2026-01-09"
    assert rig.probe.standard_uncertainty_k == 0.3
    assert rig.reference.opening.value == pytest.approx(181.7e5)
    assert rig.reference.opening.standard_uncertainty == pytest.approx(0.4e5)
    assert rig.reference.drop_time.standard_uncertainty == pytest.approx(0.05 * 21.3)
    assert rig.limits.temperature_to_k == pytest.approx(kelvin(30.0))
    assert rig.limits.compliance_relative == pytest.approx(0.073)
    assert known.gauge.certificate_number == "K 0815"
    assert known.readings.bled[1].volume_m3 == pytest.approx(225e-9)
    assert known.readings.strokes.displacement_m3 == pytest.approx(28.27e-6 * 2.41e-3)
    assert known.readings.zero_pa == pytest.approx(-0.1e5)


def test_a_whole_card_is_written_and_read_again_to_the_last_bit(tmp_path):
    known = read(tmp_path, WHOLE)
    again = read(tmp_path, conditions_text(known))
    assert again.rig == known.rig
    assert again.gauge == known.gauge
    assert again.fluid == known.fluid
    assert again.readings == known.readings


def test_a_density_at_15_degrees_comes_from_the_points_beside_it(tmp_path):
    card = "[fluid]\ndensity = [[10.0, 828.0], [20.0, 821.0]]\n"
    assert read(tmp_path, card).fluid.density_15c.value == pytest.approx(824.5)
    # Nothing is guessed beyond the points.
    assert (
        read(tmp_path, "[fluid]\ndensity = [[20.0, 821.0], [40.0, 807.0]]\n").fluid.density_15c
        is None
    )


def test_an_old_card_has_nothing_of_it(tmp_path):
    known = read(tmp_path, '[rig]\nid = "R-1"\n')
    assert (known.rig.filter, known.rig.probe, known.rig.reference, known.readings) == (None,) * 4
    assert "limits" not in conditions_text(known)


@pytest.mark.parametrize(
    ("card", "says"),
    [
        ("[limits]\nblank_fall_bar = 3.0\n", "not wholly stated"),
        (
            "[limits]\nblank_fall_bar = 200\nblank_fall_s = 60\nblank_fall_from_bar = 150\n",
            "cannot fall by 200 bar from 150 bar",
        ),
        ("[limits]\ntemperature_from_c = 30\ntemperature_to_c = 20\n", "no temperature lies"),
        ("[limits]\nbaseline = 2\n", "baseline"),
        ("[reference]\nopening_u_bar = 1\n", "opening pressure itself is not"),
        ("[reference]\ndrop_s = 20\n", "without its two pressures"),
        ("[reference]\ndrop_s = 20\nfrom_bar = 100\nto_bar = 150\n", "does not fall"),
        ("[check]\nbled = [[100.0, 150.0, 0.1]]\n", "does not fall"),
        ("[check]\nbled = [[150.0, 100.0]]\n", "a row of 2"),
        ('[check]\nzero_bar = 0\nzero_recording = "z.csv"\n', "stated and recorded"),
        ('[check]\nrecording = "r.csv"\nopening_bar = [180]\n', "recorded and read by eye"),
        ("[check]\nstrokes_bar = [0, 30, 60]\n", "not wholly stated"),
        (
            "[check]\nstrokes_bar = [0, 30]\npiston_area_mm2 = 28\ntravel_mm = 2\n",
            "fewer than two strokes",
        ),
        ("[fluid]\ndensity = [[15, 820], [15, 821]]\n", "two densities"),
        ("[fluid]\ndensity = [[15, 820], [20, 821]]\n", "the density does not fall"),
        ("[probe]\nu_c = -1\n", "u_c"),
    ],
)
def test_what_cannot_be_is_refused_with_its_remedy(tmp_path, card, says):
    with pytest.raises(ConditionsFault) as refused:
        read(tmp_path, card)
    fault = refused.value.faults[0]
    assert says in f"{fault.where} {fault.what}"
    assert fault.remedy
