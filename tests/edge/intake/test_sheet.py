"""A setting sheet is read whole or refused with everything that is wrong with it."""

from __future__ import annotations

from pathlib import Path

import pytest

from nozzlewright.bench import Condition, DecisionRule, StepPlan, steps_of
from nozzlewright.edge.intake.sheet import read_sheet
from nozzlewright.errors import SheetFault

EXAMPLES = sorted((Path(__file__).parents[3] / "setting_sheets").glob("*.toml"))
HEAD = 'title = "invented"\ninjector = "invented"\nsource = "invented, page 1"\n'
DROP = '[back_leakage]\nfrom = "150 bar"\nto = "100 bar"\nat_least_s = 6\n'
SHIMS_TWICE = """[adjustment]
shim_sizes = ["1 mm"]
shim_range = { thinnest = "1 mm", thickest = "2 mm", step = "0.1 mm" }
"""
WATCH = "seconds = 10\ndamp_allowed = true\n"
BAR = 1e5


@pytest.fixture
def read(tmp_path):
    def reader(text, *, head=HEAD):
        path = tmp_path / "sheet.toml"
        path.write_text(head + text, encoding="utf-8")
        return read_sheet(path)

    return reader


@pytest.fixture
def faults(read):
    def reader(text, *, head=HEAD):
        with pytest.raises(SheetFault) as caught:
            read(text, head=head)
        return caught.value.faults

    return reader


def one(found):
    assert len(found) == 1, [str(fault) for fault in found]
    return found[0]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_every_example_sheet_is_read_and_says_that_it_is_invented(path):
    sheet = read_sheet(path)

    assert sheet.invented
    assert sheet.opening_used is not None
    assert len(sheet.digest) == 64


def test_there_are_example_sheets():
    assert len(EXAMPLES) >= 3


# --- limits ------------------------------------------------------------------------------------


def test_a_sheet_without_limits_judges_nothing(read):
    sheet = read("")

    assert sheet.opening_new is sheet.opening_used is sheet.seat is sheet.back_leakage is None
    assert sheet.chatter is sheet.spray is sheet.spread_pa is sheet.leak_off is None
    assert sheet.torques == ()
    assert sheet.adjustment.shim_effect_pa_per_m is None
    assert sheet.rule is DecisionRule.GUARDED


def test_a_band_is_two_ends_or_nominal_and_tolerance(read):
    ends = read('[opening.new]\nlower = "20.35 MPa"\nupper = "21.05 MPa"').opening_new
    middle = read('[opening.new]\nnominal = "20.7 MPa"\ntolerance = "0.35 MPa"').opening_new

    assert (ends.lower_pa, ends.upper_pa) == pytest.approx((middle.lower_pa, middle.upper_pa))
    assert ends.target_pa == pytest.approx(20.7e6)
    assert middle.printed.text == "20.7 MPa ± 0.35 MPa"


def test_one_band_for_all_parts_stands_for_new_and_used(read):
    sheet = read('[opening]\nlower = "175 bar"\nupper = "183 bar"\ntarget = "181 bar"')

    assert sheet.opening_band(Condition.NEW) == sheet.opening_band(Condition.USED)
    assert sheet.opening_new.target_pa == pytest.approx(181 * BAR)


def test_a_band_only_for_new_parts_leaves_used_ones_unjudged(read):
    sheet = read('[opening.new]\nlower = "175 bar"\nupper = "183 bar"')

    assert sheet.opening_used is None


@pytest.mark.parametrize(
    ("written", "bar"),
    [
        ('lower = "175 bar"', 175.0),
        ("lower_bar = 175", 175.0),
        ("lower_bar = 175.0", 175.0),
        ('lower = "17.5 MPa"', 175.0),
        ("lower_mpa = 17.5", 175.0),
        ('lower = "178.45 kgf/cm²"', 175.0),
        ('lower = "2538 psi"', 174.989),
        ('lower = "178.45 technical atm"', 175.0),
        ('lower = "172.71 standard atm"', 175.0),
        ('lower = "175 bar (2538 psi)"', 175.0),
    ],
)
def test_a_pressure_may_be_written_in_any_unit_of_the_trade(read, written, bar):
    band = read(f'[opening.new]\n{written}\nupper = "200 bar"').opening_new

    assert band.lower_pa / BAR == pytest.approx(bar, abs=2e-3)


def test_a_seat_hold_without_a_tolerance_has_that_of_its_printed_digits(read):
    rest = "seconds = 10\ndamp_allowed = true"
    plain = read(f'[seat]\nmargin_below_opening = "21 bar"\n{rest}').seat
    stated = read(f'[seat]\nmargin_below_opening = "21 bar"\ntolerance = "3 bar"\n{rest}').seat

    assert plain.tolerance_pa == pytest.approx(0.5 * BAR)
    assert stated.tolerance_pa == pytest.approx(3 * BAR)


def test_a_shim_effect_without_a_doubt_has_that_of_its_rounding(read):
    plain = read('[adjustment]\nshim_effect = "10 bar per 0.1 mm"').adjustment
    stated = read(
        '[adjustment]\nshim_effect = "100 bar/mm"\nshim_effect_uncertainty = "8 bar/mm"'
    ).adjustment
    share = read(
        '[adjustment]\nshim_effect = "100 bar/mm"\nshim_effect_uncertainty = "8 %"'
    ).adjustment

    assert plain.shim_effect_pa_per_m.value == pytest.approx(100e8)
    # Half a tenth of a millimetre in one, half a bar in ten.
    assert plain.shim_effect_pa_per_m.standard_uncertainty == pytest.approx(
        (0.5 / 10 + 0.05 / 0.1) * 100e8 / 3**0.5
    )
    assert stated.shim_effect_pa_per_m.standard_uncertainty == pytest.approx(8e8)
    assert share.shim_effect_pa_per_m.standard_uncertainty == pytest.approx(8e8)


def test_shims_are_listed_or_stepped(read):
    listed = read('[adjustment]\nshim_sizes = ["1.0 mm", "1.1 mm", "1.05 mm"]').adjustment
    stepped = read(
        '[adjustment]\nshim_range = { thinnest = "1 mm", thickest = "1.1 mm", step = "0.05 mm" }'
    ).adjustment

    assert listed.shim_sizes_m == stepped.shim_sizes_m == (1.0e-3, 1.05e-3, 1.1e-3)


def test_a_screw_is_told_by_its_effect_or_its_pitch(read):
    adjustment = read('[adjustment]\nscrew_effect = "87 bar per turn"\nscrew_pitch = "1 mm"')

    assert adjustment.adjustment.screw_pa_per_turn.value == pytest.approx(87 * BAR)
    assert adjustment.adjustment.screw_pitch_m == pytest.approx(1e-3)


@pytest.mark.parametrize(
    ("written", "low", "high"),
    [
        ("45 Nm", 45.0, 45.0),
        ("40 ± 5 Nm", 35.0, 45.0),
        ("59 to 78 N·m", 59.0, 78.0),
        ("8 kgf m", 78.4532, 78.4532),
        ("30 lbf ft (41 Nm)", 40.675, 40.675),
    ],
)
def test_a_torque_is_a_value_a_range_or_a_value_with_tolerance(read, written, low, high):
    torque = read(f'[[torque]]\npart = "nozzle nut"\nvalue = "{written}"').torques[0]

    assert (torque.low_nm, torque.high_nm) == pytest.approx((low, high), abs=1e-3)


def test_the_reference_of_a_drop_time_is_kept(read):
    demand = read(
        '[back_leakage]\nfrom = "150 bar"\nto = "100 bar"\nat_least_s = 6\n'
        'reference_temperature = "104 °F"\nreference_viscosity = "2.6 mm2/s"\n'
        'reference_compliance = "1.8 mm3/bar"'
    ).back_leakage

    assert demand.window.reference_temperature_k == pytest.approx(313.15)
    assert demand.window.reference_compliance.value == pytest.approx(1.8e-14)
    assert demand.reference_viscosity_m2_per_s == pytest.approx(2.6e-6)


def test_where_a_limit_stands_in_the_document_is_kept(read):
    band = read(
        '[opening.new]\nlower = "175 bar"\nupper = "183 bar"\n'
        'printed = "175-183 bar"\npage = "12, table 3"'
    ).opening_new

    assert band.printed.text == "175-183 bar"
    assert band.printed.where == "12, table 3"


def test_the_decision_rule_can_be_chosen(read):
    assert read("", head=HEAD + 'rule = "simple"\n').rule is DecisionRule.SIMPLE


# --- faults ------------------------------------------------------------------------------------


def test_all_faults_of_a_sheet_are_reported_together_in_the_order_of_its_lines(faults):
    found = faults(
        'injctor = "x"\n'
        '[opening.new]\nlower = "125 kgf/cm2 (1978 psi)"\nuper = "135 kgf/cm2"\n'
        '[seat]\nmargin_below_opening = "20 bar"\nseconds = "10"\ndamp_allowed = true\n'
        '[back_leakage]\nfrom = "100 bar"\nto = "150 bar"\n'
        '[[torque]]\npart = "nut"\nvalue = "40 Nm (33 lbf ft)"\n'
    )

    told = "\n".join(str(fault) for fault in found)
    for piece in (
        "'injctor' is not a key of this table. Did you mean 'injector'",
        "'uper' is not a key",
        "1978 psi",
        "'10' stands where a number belongs",
        "there is no limit",
        "from 100 bar to 150 bar",
        "33 lbf ft",
    ):
        assert piece in told
    lines = [int(fault.where.split("line ")[1].split(",")[0]) for fault in found]
    assert lines == sorted(lines)
    assert all(fault.remedy for fault in found)


def test_a_faulty_key_is_not_blamed_twice_as_a_missing_one(faults):
    fault = one(faults('[back_leakage]\nfrom = "150 bar"\nto = "100 bar"\nat_least_s = "6"'))

    assert "stands where a number belongs" in fault.what


@pytest.mark.parametrize(
    ("text", "what", "where"),
    [
        ('[opening]\nlower = 175\nupper = "183 bar"', "has no unit", "opening.lower"),
        ('[opening]\nlower = "175"\nupper = "183 bar"', "has no unit", "opening.lower"),
        ('[opening]\nlower = "175 kg"\nupper = "183 bar"', "a weight", "opening.lower"),
        ('[opening]\nlower = "175 furlong"\nupper = "183 bar"', "unit known", "opening.lower"),
        ('[opening]\nlower = "175 Nm"\nupper = "183 bar"', "is a torque", "opening.lower"),
        ('[opening]\nlower = "175-180 bar"\nupper = "183 bar"', "a range", "opening.lower"),
        ('[opening]\nlower = "175 bar to 5 psi"\nupper = "183 bar"', "more than one", "opening"),
        ('[opening]\nlower = "1,75 bar 2"\nupper = "183 bar"', "", "opening.lower"),
        ('[opening]\nlower = "2,538 psi"\nupper = "183 bar"', "comma", "opening.lower"),
        ('[opening]\nlower = "183 bar"\nupper = "175 bar"', "band runs", "opening"),
        ('[opening]\nlower = "175 bar"', "band is not told", "opening"),
        (
            '[opening]\nlower = "175 bar"\nupper = "183 bar"\ntarget = "190 bar"',
            "target of 190 bar lies outside", "opening.target",
        ),
        (
            '[opening]\nlower = "175 bar"\nlower_psi = 2538\nupper = "183 bar"',
            "written twice", "opening.lower",
        ),
        ('[seat]\nseconds = 10\ndamp_allowed = true', "not told once", "seat"),
        (
            '[seat]\nmargin_below_opening = "20 bar"\npressure = "110 bar"\n' + WATCH,
            "not told once", "seat",
        ),
        ('[seat]\npressure = "110 bar"\nseconds = -1\ndamp_allowed = true', "more than 0", "seat"),
        (
            '[back_leakage]\nfrom = "150 bar"\nto = "100 bar"\nat_least_s = 6\nat_most_s = 5',
            "is not less than", "back_leakage",
        ),
        (
            DROP + 'reference_temperature = "400 °C"', "no temperature", "reference_temperature",
        ),
        (
            DROP + 'reference_compliance = "1.8 mm3/bar"',
            "without reference_temperature", "compliance",
        ),
        ('[leak_off]\npressure = "103 bar"\nseconds = 30', "no limit", "leak_off"),
        (
            '[leak_off]\npressure = "103 bar"\nseconds = 30\nat_least_drops = 9\nat_most_drops = 3',
            "is more than", "leak_off",
        ),
        (
            '[nozzle]\nguide_diameter = "2.6 mm"\nseat_diameter = "6 mm"',
            "is not less than guide_diameter", "seat_diameter",
        ),
        (
            '[adjustment]\nshim_range = { thinnest = "1 mm", thickest = "2 mm", step = "0.3 mm" }',
            "do not lead", "shim_range",
        ),
        (
            '[adjustment]\nshim_effect = "100 bar/mm"\nshim_effect_uncertainty = "200 %"',
            "as large as", "shim_effect_uncertainty",
        ),
        (
            SHIMS_TWICE, "told twice", "shim_range",
        ),
        ('[[torque]]\npart = "nut"\nvalue = "78 to 59 Nm"', "from low to high", "torque[1]"),
        ('[set]\nspread = "5 mm"', "is a length", "set.spread"),
    ],
)  # fmt: skip
def test_a_fault_says_what_and_where(faults, text, what, where):
    fault = one(faults(text))

    assert what in fault.what
    assert where in fault.where
    assert fault.remedy


def test_a_margin_larger_than_the_opening_pressure_is_a_slip_of_units(faults):
    fault = one(
        faults(
            '[opening]\nlower = "17.5 bar"\nupper = "18.3 bar"\n'
            '[seat]\nmargin_below_opening = "20 bar"\nseconds = 10\ndamp_allowed = true'
        )
    )

    assert "leaves nothing" in fault.what
    assert "seat.margin_below_opening" in fault.where


def test_a_hold_above_the_opening_pressure_is_a_slip_of_units(faults):
    fault = one(
        faults(
            '[opening]\nlower = "175 bar"\nupper = "183 bar"\n'
            '[seat]\npressure = "200 bar"\nseconds = 10\ndamp_allowed = true'
        )
    )

    assert "above the opening pressure" in fault.what


def test_a_slip_of_toml_names_its_line(tmp_path):
    path = tmp_path / "sheet.toml"
    path.write_text(HEAD + '[seat\nmargin = "20 bar"\n', encoding="utf-8")

    with pytest.raises(SheetFault) as caught:
        read_sheet(path)
    assert "line 4" in one(caught.value.faults).where


def test_a_missing_file_is_a_fault_too(tmp_path):
    with pytest.raises(SheetFault, match="no such file"):
        read_sheet(tmp_path / "nowhere.toml")


def test_a_sheet_leaves_out_and_adds_steps(read):
    added = '[[steps.add]]\nkey = "soak"\ntitle = "Soak"\nafter = "strip"\ntext = "One hour"'
    plan = read(f'[steps]\nleave_out = ["chatter"]\n{added}').steps
    keys = [step.key for step in steps_of(plan)]
    assert "chatter" not in keys
    assert keys[keys.index("strip") + 1] == "soak"
    assert read("").steps == StepPlan()


@pytest.mark.parametrize(
    ("written", "what"),
    [
        ('leave_out = ["polish"]', "no step 'polish' to leave out"),
        (
            '[[steps.add]]\nkey = "wash"\ntitle = "Wash"\nafter = "strip"',
            "there is a step 'wash' already",
        ),
        (
            'leave_out = ["strip"]\n[[steps.add]]\nkey = "soak"\ntitle = "S"\nafter = "strip"',
            "no step 'strip' for 'soak' to follow",
        ),
    ],
)
def test_steps_that_do_not_fit_are_refused_with_the_steps_of_the_trade(read, written, what):
    with pytest.raises(SheetFault, match=what) as refused:
        read(f"[steps]\n{written}")
    assert "as-found, wash, strip" in str(refused.value)
