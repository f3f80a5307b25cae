from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from nozzlewright.bench import BenchConditions, TipGrade
from nozzlewright.edge.intake import blank_recording_path, conditions, read_conditions
from nozzlewright.errors import ConditionsFault

REFERENCE = Path(__file__).parents[3] / "docs" / "how-to" / "bench-conditions.md"

WHOLE = """
[sitting]
id = "monday-1"
fitter = "A. N. Other"
date = 2026-03-02

[fluid]
name = "calibration fluid"
temperature_c = 23.5
temperature_u_c = 0.5
viscosity = [[40, 2.6], [20, 4.0]]
viscosity_ratio_u_percent = 1
density_15c_kg_m3 = 825
bulk_modulus_gpa = 1.6
bulk_modulus_u_gpa = 0.05
pressure_viscosity_per_gpa = 12

[gauge]
id = "G-7"
range_bar = 400
class = 1.0
certificate = [[0, 0.1, 0.5], [200, 201.0, 0.6], [400, 401.5, 0.8]]
resolution_bar = 0.1
time_constant_ms = 4
calibrated_on = 2026-01-05

[rig]
id = "R-1"
volume_cm3 = 30
volume_u_cm3 = 1
wall_compliance_mm3_per_bar = 0.4
compliance_mm3_per_bar = 2.4
at_bar = 120
at_c = 22

[blank_plug]
recording = "recordings/blank.csv"
compliance_ratio = 0.8
temperature_c = 22

[window]
from_bar = 150
to_bar = 100
reference_c = 40
reference_compliance_mm3_per_bar = 2.5

[nozzle]
guide_diameter_mm = 6
guide_length_mm = 20
seat_diameter_mm = 3
body_diameter_mm = 14
spring_rate_n_per_mm = 200
two_spring = false

[seat]
margin_bar = 20
seconds = 10
opening_bar = 175

[tip]
seat = "damp"
drop_test = "dry"
leak_off_drops = 5
leak_off_seconds = 30
outside_leak = "union"
"""


def read(tmp_path: Path, text: str) -> BenchConditions:
    path = tmp_path / "bench.toml"
    path.write_text(text)
    return read_conditions(path)


def faults(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(ConditionsFault) as caught:
        read(tmp_path, text)
    return [str(fault) for fault in caught.value.faults]


def test_every_table_arrives_in_si(tmp_path: Path) -> None:
    found = read(tmp_path, WHOLE)
    assert found.sitting == "monday-1"
    fluid, gauge, rig, plug = found.fluid, found.gauge, found.rig, found.blank_plug
    assert fluid is not None
    assert plug is not None
    assert found.oil_temperature is not None
    assert found.oil_temperature.value == pytest.approx(296.65)
    assert found.oil_temperature.standard_uncertainty == pytest.approx(0.5)
    assert fluid.viscosity_points == ((293.15, 4.0e-6), (313.15, 2.6e-6))
    assert fluid.viscosity_relative_uncertainty == pytest.approx(0.01)
    assert fluid.bulk_modulus_20c is not None
    assert fluid.bulk_modulus_20c.value == pytest.approx(1.6e9)
    assert fluid.pressure_viscosity is not None
    assert fluid.pressure_viscosity.value == pytest.approx(12e-9)
    assert gauge.range_pa == pytest.approx(400e5)
    assert gauge.accuracy_class == 1.0
    assert gauge.resolution_pa == pytest.approx(1e4)
    assert gauge.time_constant_s == pytest.approx(0.004)
    assert gauge.calibrated_on == "2026-01-05"
    # U at k = 2 is twice the standard uncertainty (JCGM 100:2008, 6.2.1)
    assert gauge.certificate[1].standard_uncertainty_pa == pytest.approx(0.3e5)
    assert gauge.certificate[1].indicated_pa == pytest.approx(201e5)
    assert rig.volume_m3 is not None
    assert rig.volume_m3.value == pytest.approx(30e-6)
    assert rig.volume_m3.standard_uncertainty == pytest.approx(1e-6)
    assert rig.compliance is not None
    assert rig.compliance.value == pytest.approx(2.4e-14)  # 1 mm3/bar = 1e-14 m3/Pa
    assert rig.compliance_pressure_pa == pytest.approx(120e5)
    assert rig.compliance_temperature_k == pytest.approx(295.15)
    assert plug.compliance_ratio is not None
    assert plug.compliance_ratio.value == 0.8
    assert blank_recording_path(found, tmp_path / "bench.toml") == tmp_path / "recordings/blank.csv"
    assert found.window is not None
    assert (found.window.from_pa, found.window.to_pa) == (150e5, 100e5)
    assert found.window.reference_temperature_k == pytest.approx(313.15)
    assert found.window.reference_compliance is not None
    assert found.window.reference_compliance.standard_uncertainty == 0.0
    assert found.geometry.spring_rate_n_per_m == pytest.approx(200e3)
    assert found.geometry.guide_diameter_m == pytest.approx(0.006)
    assert (found.seat_margin_pa, found.seat_hold_s, found.opening_target_pa) == (20e5, 10, 175e5)
    assert found.seat_watch.grade is TipGrade.DAMP
    assert found.drop_watch.grade is TipGrade.DRY
    assert (found.drop_watch.leak_off_drops, found.drop_watch.leak_off_seconds) == (5, 30)


def test_an_empty_file_is_no_fault(tmp_path: Path) -> None:
    assert read(tmp_path, "") == BenchConditions()
    assert blank_recording_path(BenchConditions(), tmp_path / "bench.toml") is None


KEYS = [line for line in WHOLE.splitlines() if "=" in line]
HELD_BY_OTHERS = {
    "bulk_modulus_gpa", "volume_cm3", "compliance_mm3_per_bar", "recording", "from_bar", "to_bar",
    "leak_off_seconds",
}  # fmt: skip
"""Keys that others lean on: an uncertainty on its value, one end of a window on the other."""


@pytest.mark.parametrize("line", KEYS)
def test_any_key_may_be_missing_unless_another_leans_on_it(tmp_path: Path, line: str) -> None:
    left = WHOLE.replace(f"{line}\n", "", 1)
    if line.split(" =")[0] in HELD_BY_OTHERS or line == "temperature_c = 23.5":
        assert len(faults(tmp_path, left)) == 1
    else:
        read(tmp_path, left)


def test_what_is_not_stated_takes_the_documented_default(tmp_path: Path) -> None:
    found = read(tmp_path, "[fluid]\ntemperature_c = 20\n[rig]\nvolume_cm3 = 30\n")
    assert found.oil_temperature is not None
    assert found.oil_temperature.standard_uncertainty == conditions.DEFAULT_TEMPERATURE_U_K
    assert "assumed" in found.oil_temperature.method
    assert found.rig.volume_m3 is not None
    assert found.rig.volume_m3.standard_uncertainty == pytest.approx(
        conditions.DEFAULT_VOLUME_RELATIVE_U * 30e-6
    )


@pytest.mark.parametrize(
    ("window", "from_pa"),
    [
        ('from = "150 technical atm"\nto = "100 technical atm"', 150 * 98066.5),
        ("from_at = 150\nto_at = 100", 150 * 98066.5),
        ('from = "150 standard atm"\nto_bar = 100', 150 * 101325.0),
        ('from = "14.7 MPa"\nto = "9.8 MPa"', 147e5),
        ('from = "2000 psi"\nto = "1500 psi"', 2000 * 6894.757293168),
    ],
)
def test_a_window_in_the_units_of_its_document(tmp_path: Path, window: str, from_pa: float) -> None:
    found = read(tmp_path, f"[window]\n{window}\n").window
    assert found is not None
    assert found.from_pa == pytest.approx(from_pa, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[window]\nfrom = "150 atm"\nto = "100 atm"', "may mean two units"),
        ("[window]\nfrom_bar = 100\nto_bar = 150", "does not fall from 100 to 150 bar"),
        ("[window]\nfrom_bar = 150", "'to_bar' is missing"),
        ("[gauge]\nclas = 1.0", "Did you mean 'class'?"),
        ("[gauge]\nrange_bar = 0", "must be more than 0"),
        ("[gauge]\nrange_bar = 400\nresolution_bar = 500", "is not less than the range"),
        ("[gauge]\ncertificate = [[0, 1]]", "a row of 2 stands where 3 values belong"),
        ("[gauge]\ncertificate = [[0, 1, 1], [0, 2, 1]]", "gives one reference pressure twice"),
        ("[fluid]\ntemperature_c = 293", "must not be more than 200"),
        ("[fluid]\nviscosity = [[20, 2.6], [40, 4.0]]", "does not fall from 20 °C"),
        ("[fluid]\nviscosity = [[20, 2.6], [20, 2.5]]", "two viscosities stand at 20 °C"),
        ("[fluid]\nbulk_modulus_u_gpa = 0.1", "the bulk modulus itself is not"),
        ("[rig]\nat_bar = 100", "the compliance itself is not"),
        ("[blank_plug]\ncompliance_ratio = 0.8", "either a recording or a timed drop"),
        (
            '[blank_plug]\nrecording = "a"\ndrop = {from_bar = 2, to_bar = 1, seconds = 1}',
            "not both",
        ),
        ("[nozzle]\nguide_diameter_mm = 3\nseat_diameter_mm = 6", "not smaller than the guide"),
        ("[nozzle]\nguide_diameter_mm = 6\nbody_diameter_mm = 6", "not larger than the guide"),
        ("[nozzle]\nspring_rate_n_per_mm = 1e-300", "next to nothing"),
        ("[nozzle]\nspring_rate_n_per_mm = 1e300", "must not be more than"),
        ('[tip]\nseat = "wet"', "'dry', 'damp' or 'drop'"),
        ("[tip]\nleak_off_drops = 5", "counted without a time"),
        ("[tip]\nleak_off_drops = 5.5\nleak_off_seconds = 30", "a whole number"),
        ("[sitting]\ndate = 'soon'", "is not a date"),
        ("[fluid]\nname = 7", "text in quotes"),
        ("[sitings]\nid = 'x'", "Did you mean 'sitting'?"),
        ("fluid = 3", "3 stands where a table belongs"),
    ],
)
def test_a_fault_says_what_where_and_how_to_mend_it(tmp_path: Path, text: str, says: str) -> None:
    found = faults(tmp_path, text)
    assert any(says in fault for fault in found), found
    assert all(fault.startswith("bench.toml, line ") for fault in found)


def test_all_faults_of_a_file_come_together(tmp_path: Path) -> None:
    text = WHOLE.replace("class", "clas").replace('"damp"', '"wet"').replace("= 400", "= 'x'")
    text = text.replace("seconds = 10", "seconds = -10")
    assert len(faults(tmp_path, text)) == 4


def test_the_documented_examples_are_read_and_every_key_is_documented(tmp_path: Path) -> None:
    page = REFERENCE.read_text()
    examples = re.findall(r"```toml\n(.*?)```", page, re.DOTALL)
    assert examples
    for example in examples:
        tomllib.loads(example)
        read(tmp_path, example)
    for name, field in conditions.ConditionsTable.model_fields.items():
        assert f"`[{name}]`" in page
        table = field.annotation
        tables = [table] if hasattr(table, "model_fields") else list(table.__args__)
        for one in tables:
            for key, inner in getattr(one, "model_fields", {}).items():
                assert f"`{inner.alias or key}`" in page, f"{name}.{key} is not documented"
    for constant in ("TEMPERATURE_U_K", "DENSITY_U_KG_M3"):
        assert f"{getattr(conditions, f'DEFAULT_{constant}'):g}" in page
