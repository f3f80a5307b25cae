"""Bench sums: somebody else's numbers, any unit, honest ±, clear faults."""

from __future__ import annotations

import math
import re

import numpy as np
import pint
import pytest
import uncertainties
from hypothesis import given, settings
from hypothesis import strategies as st

from nozzlewright.bench.sums import SUMS, Given, Input, result_told, work_out
from nozzlewright.edge.intake.typed import read_sum, read_value
from nozzlewright.errors import InputFault
from nozzlewright.measurement import UNITS_OF, Cause, Kind, Quantity

EXAMPLES = [
    pytest.param(one, each, id=f"{one.key}: {each.source}")
    for one in SUMS.values()
    for each in one.examples
]


def worked(key, **typed):
    given_values, faults = read_sum(SUMS[key], [(k, text, "", "") for k, text in typed.items()])
    assert faults == []
    return work_out(SUMS[key], given_values)


def value(key, result, **typed):
    return worked(key, **typed).result(result).quantity


def faults_of(key, **typed):
    given_values, faults = read_sum(SUMS[key], [(k, text, "", "") for k, text in typed.items()])
    assert faults == []
    with pytest.raises(InputFault) as raised:
        work_out(SUMS[key], given_values)
    return {fault.where: fault for fault in raised.value.faults}


def printed(text, kind):
    """Return a printed value in SI, and how far off its digits and its ± allow one to be."""
    one = read_value(text, Input("printed", "printed", kind, -math.inf, math.inf, ""))
    return one.quantity.value, one.half_digit + 1.96 * one.quantity.standard_uncertainty


# -- somebody else's numbers --------------------------------------------------------------------


@pytest.mark.parametrize(("one", "example"), EXAMPLES)
def test_a_sum_gives_what_its_source_prints(one, example):
    done = worked(one.key, **example.typed)

    assert example.expected
    for key, text in example.expected.items():
        result = done.result(key)
        want, reach = printed(text, result.output.kind)
        assert result.quantity.value == pytest.approx(want, abs=reach * (1 + 1e-6), rel=0.0), key


def test_every_sum_is_checked_against_an_example_and_says_where_none_was_found():
    for one in SUMS.values():
        assert one.examples, one.key
        for each in one.examples:
            assert each.printed is not each.source.startswith(("Derived", "Definition: 10")), each
        if not any(each.printed for each in one.examples):
            assert "No printed example was found" in one.source, one.key


def test_every_sum_says_what_it_is_where_it_comes_from_and_when_it_holds():
    for one in SUMS.values():
        assert one.title
        assert one.purpose.endswith(".")
        assert one.source
        assert one.formula
        assert one.validity
        assert len({each.key for each in one.inputs}) == len(one.inputs)
        assert all(each.hint and each.low <= each.high for each in one.inputs)
        assert not one.indication or any("not a promise" in words for words in one.validity)


PINT = {
    "kgf/cm2": "kgf/cm**2", "at": "technical_atmosphere", "atm": "standard_atmosphere",
    "Nm": "N*m", "kgf m": "kgf*m", "lbf ft": "lbf*ft", "lbf in": "lbf*in", "kgf cm": "kgf*cm",
    "um": "um", "uin": "microinch", "kgf/mm": "kgf/mm", "bar/mm": "bar/mm", "MPa/mm": "MPa/mm",
    "kgf/cm2/mm": "kgf/cm**2/mm", "psi/thou": "psi/thou", "N/mm2": "N/mm**2",
    "kgf/mm2": "kgf/mm**2", "ksi": "kpsi", "Mpsi": "Mpsi", "mm2": "mm**2", "in2": "in**2",
    "mm3": "mm**3", "cm3": "cm**3", "in3": "in**3", "mm3/s": "mm**3/s", "cm3/min": "cm**3/min",
    "mm3/min": "mm**3/min", "l/h": "l/hour", "drops/min": "1/min", "drops/s": "1/s",
    "mm2/s": "mm**2/s", "kg/m3": "kg/m**3", "g/cm3": "g/cm**3", "lb/ft3": "lb/ft**3",
    "dyn/cm": "dyn/cm", "deg": "degree", "rev/min": "rpm", "mm/deg": "mm/degree",
    "in/deg": "in/degree", "%": "percent", "": "",
}  # fmt: skip


@pytest.mark.parametrize(
    "unit",
    [
        pytest.param(unit, id=f"{kind.value} {unit.name}")
        for kind in Kind
        for unit in UNITS_OF[kind]
        if kind is not Kind.TEMPERATURE
    ],
)
def test_a_unit_is_worth_what_another_library_makes_of_it(unit):
    registry = pint.UnitRegistry()
    theirs = registry.Quantity(1.0, PINT.get(unit.name, unit.name)).to_base_units().magnitude

    assert unit.si == pytest.approx(theirs, rel=1e-12)


@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32.0, 0.0), (212.0, 100.0), (-40.0, -40.0)])
def test_fahrenheit_is_what_the_fixed_points_make_it(fahrenheit, celsius):
    degc, degf = UNITS_OF[Kind.TEMPERATURE]

    assert degc.of_si(degf.to_si(fahrenheit)) == pytest.approx(celsius, abs=1e-10)


# -- in any unit --------------------------------------------------------------------------------


@settings(max_examples=300)
@given(data=st.data())
def test_a_sum_comes_out_the_same_whichever_units_it_is_typed_in(data):
    one = data.draw(st.sampled_from([each for each in SUMS.values() if each.key != "misprint"]))
    example = data.draw(st.sampled_from(one.examples))
    plain, faults = read_sum(one, [(k, text, "", "") for k, text in example.typed.items()])
    assert not faults
    typed = {}
    for key, given_value in plain.items():
        if isinstance(given_value, str):
            typed[key] = given_value
            continue
        unit = data.draw(st.sampled_from(UNITS_OF[given_value.unit.kind]))
        name = {"at": "technical at", "atm": "standard atm"}.get(unit.name, unit.name)
        typed[key] = f"{unit.of_si(given_value.quantity.value)!r} {name}"
    first, second = work_out(one, plain), worked(one.key, **typed)

    assert [each.output.key for each in first.results] == [
        each.output.key for each in second.results
    ]
    for a, b in zip(first.results, second.results, strict=True):
        assert b.quantity.value == pytest.approx(a.quantity.value, rel=1e-9, abs=1e-18)
        assert b.quantity.standard_uncertainty == pytest.approx(
            a.quantity.standard_uncertainty, rel=1e-6, abs=1e-9 * abs(a.quantity.value)
        )


def test_a_result_comes_in_the_unit_of_what_was_typed():
    assert worked("torque", wanted="60 Nm", wrench="12 in", extension="2 in").results[
        0
    ].unit.name == ("Nm")
    inches = worked("spring", wire="0.037 in", outer="0.437 in", coils="10.5")
    assert inches.result("rate").unit.name == "lbf/in"
    metric = worked("spring", wire="5 mm", outer="39.6 mm", coils="9.5")
    assert metric.result("rate").unit.name == "N/mm"


@given(st.floats(1e-3, 1e5), st.sampled_from([u for k in Kind for u in UNITS_OF[k] if u.name]))
def test_there_and_back_a_value_is_the_same(number, unit):
    assert unit.of_si(unit.to_si(number)) == pytest.approx(number, rel=1e-12)


# -- how sure -----------------------------------------------------------------------------------


def test_the_plus_minus_of_a_torque_is_that_of_an_independent_library():
    """uncertainties 3.2, first order; ± is 1.96 standard uncertainties on both sides."""
    k = 1.959963984540054
    wanted = uncertainties.ufloat(60.0, 1.0 / k)
    length, ext = uncertainties.ufloat(0.300, 0.002 / k), uncertainties.ufloat(0.050, 0.001 / k)
    theirs = wanted * length / (length + ext)
    ours = value("torque", "setting", wanted="60±1 Nm", wrench="300±2 mm", extension="50±1 mm")

    assert ours.value == pytest.approx(theirs.n)
    assert ours.standard_uncertainty == pytest.approx(theirs.s, rel=1e-3)
    assert {cause.name for cause in ours.contributions} == {
        "Torque wanted at the nut", "Length of the wrench", "Length of the extension",
    }  # fmt: skip


def test_a_result_that_bends_is_told_by_the_spread_that_it_has():
    """A wire of 1.0 ± 0.3 mm to the fourth power, against 400 000 draws of numpy's own."""
    done = worked("spring", wire="1.0 ± 0.3 mm", outer="10 mm", coils="6", modulus="80 GPa")
    rate = done.result("rate").quantity
    wire = np.clip(np.random.default_rng(7).normal(1e-3, 0.3e-3 / 1.96, 400_000), 1e-4, None)
    drawn = 80e9 * wire**4 / (8.0 * (10e-3 - wire) ** 3 * 6.0)
    low, high = np.quantile(drawn, [0.025, 0.975])

    assert rate.interval is not None
    assert rate.interval[0] == pytest.approx(low, rel=0.08)
    assert rate.interval[1] == pytest.approx(high, rel=0.08)
    assert "…" in result_told(done.result("rate"))[1]


def test_a_straight_sum_is_not_drawn():
    assert value("washer", "protrusion", measured="2.6±0.05 mm", fitted="1.5±0.01 mm",
                 new="2±0.01 mm").interval is None  # fmt: skip


@given(st.floats(0.01, 2.0), st.floats(1.1, 5.0))
def test_less_sure_in_is_never_surer_out(half, more):
    def spread(width):
        return value("torque", "setting", wanted=f"60 ± {width} Nm", wrench="300 mm",
                     extension="50 mm").standard_uncertainty  # fmt: skip

    assert spread(half * more) > spread(half)


def test_what_both_pressures_share_drops_out_of_the_change_of_droplets():
    done = worked("droplets", old="150 bar", new="300 bar", cylinder="0 bar")

    assert done.result("before").quantity.standard_uncertainty > 0.0
    assert done.result("change").quantity.standard_uncertainty == pytest.approx(0.0, abs=1e-9)


def test_a_count_is_never_surer_than_one_drop():
    """JCGM 100:2008, 4.3.7: anywhere within ± 1, u = 1/sqrt 3."""
    rate = value("drops", "rate", drops="10", time="30 s", volume="26 mm3")

    assert rate.standard_uncertainty == pytest.approx(1.0 / math.sqrt(3.0) / 30.0)


@pytest.mark.parametrize(
    ("tip", "weighed"), [(3.07, 52.2), (4.17, 69.0), (6.56, 100.0), (8.32, 126.0)]
)
def test_a_drop_that_was_weighed_lies_within_what_is_told_of_it(tip, weighed):
    """F. Eschbaum, weights of drops of water at 15 °C by the outer diameter of the tip, as told in
    Bulletin of Pharmacy 9 (1895) 461; surface tension 73.5 mN/m, density 999.1 kg/m³."""
    drop = value("drops", "volume", drops="20", time="60 s", tip=f"{tip} mm",
                 tension="73.5 mN/m", density="999.1 kg/m3")  # fmt: skip
    low, high = drop.coverage_interval

    assert low < weighed * 1e-6 / 999.1 < high
    assert 0.05 < weighed * 1e-6 / 999.1 / drop.value - 1.0 < 0.09  # as its validity says


def test_a_stated_span_covers_the_truth_as_often_as_it_says():
    """1 000 fitters measure the same spring, each a little off; the truth lies inside for 95 %."""
    rng = np.random.default_rng(11)
    truth = {"wire": 3.5e-3, "outer": 12.0e-3, "coils": 6.0, "modulus": 79.5e9}
    off = {"wire": 0.02e-3, "outer": 0.05e-3, "coils": 0.1, "modulus": 0.9e9}
    right = value("spring", "rate", wire="3.5 mm", outer="12 mm", coils="6", modulus="79.5 GPa")
    inside = 0
    for _ in range(1000):
        read = {}
        for key, true in truth.items():
            asked = SUMS["spring"].input(key)
            quantity = Quantity(
                float(rng.normal(true, off[key])), asked.kind.value, {Cause(asked.name): off[key]}
            )
            read[key] = Given(quantity, UNITS_OF[asked.kind][0])
        low, high = work_out(SUMS["spring"], read).result("rate").quantity.coverage_interval
        inside += low <= right.value <= high

    assert 925 <= inside <= 975


# -- what is taken ------------------------------------------------------------------------------


def test_what_is_taken_for_want_of_a_value_is_told_and_nothing_else():
    def taken(key, **typed):
        return [each.key for each, _assumed in worked(key, **typed).taken]

    assert taken("torque", wanted="60 Nm", wrench="300 mm", extension="50 mm") == ["angle"]
    assert taken("drops", drops="10", time="30 s", volume="26 mm3") == []
    assert taken("drops", drops="10", time="30 s", tip="4 mm") == ["tension", "density"]
    leak = {"leak_old": "3 mm3/s", "leak_new": "5 mm3/s", "leak_at": "150 bar",
            "injection": "300 bar", "lasts": "10 deg", "speed": "1000 rpm"}  # fmt: skip
    assert taken("fuel", **leak) == []


# -- faults -------------------------------------------------------------------------------------


def test_all_that_is_missing_is_named_at_once():
    assert set(faults_of("torque", angle="10 deg")) == {"wrench", "extension"}
    assert set(faults_of("fuel", old="175 bar")) == {"new", "volume"}


@pytest.mark.parametrize(
    ("key", "typed", "where", "says"),
    [
        ("torque", {"wanted": "60 Nm", "wrench": "300 mm", "extension": "-350 mm"},
         "extension", "reaches back"),
        ("torque", {"wanted": "60 Nm", "wrench": "300 m", "extension": "50 mm"},
         "wrench", "out of bounds"),
        ("torque", {"wrench": "300 mm", "extension": "50 mm"}, "wanted", "no torque"),
        ("spring", {"wire": "5 mm", "outer": "9 mm", "coils": "6"}, "outer", "two wires"),
        ("spring", {"wire": "3 mm", "outer": "12 mm", "coils": "6", "free": "20 mm",
                    "fitted": "25 mm"}, "fitted", "loose"),
        ("spring", {"wire": "3 mm", "outer": "12 mm", "coils": "6", "total": "5"},
         "total", "fewer coils"),
        ("squareness", {"lean": "1 mm", "free": "30 mm", "longest": "30 mm"},
         "shortest", "all three"),
        ("needle-lift", {"depth": "0.5 mm", "stop": "0.6 mm"}, "depth", "could not lift"),
        ("needle-lift", {"depth": "0.5 mm"}, "stop", "one of the two"),
        ("needle-lift", {"seat": "2 mm"}, "depth", "no reading"),
        ("washer", {"measured": "2 mm", "fitted": "1 mm"}, "new", "neither"),
        ("washer", {"measured": "2 mm", "fitted": "1 mm", "wanted": "4 mm"}, "wanted", "thin"),
        ("bands", {"lamp": "helium"}, "bands", "no bend"),
        ("bands", {"lamp": "candle", "bands": "2"}, "lamp", "not known"),
        ("opening", {"guide": "3 mm", "seat": "4 mm", "force": "300 N"}, "guide", "no wider"),
        ("opening", {"guide": "6 mm", "seat": "3 mm"}, "force", "no spring force"),
        ("opening", {"guide": "6 mm", "seat": "3 mm", "rate": "200 N/mm", "preload": "0 mm"},
         "preload", "not pressed"),
        ("drops", {"drops": "5", "time": "30 s"}, "volume", "size of a drop"),
        ("drops", {"drops": "5", "time": "30 s", "tip": "0.5 mm"}, "tip", "narrow or wide"),
        ("droplets", {"old": "50 bar", "new": "200 bar", "cylinder": "60 bar"}, "old", "no higher"),
        ("misprint", {"first": "125 kgf/cm2", "second": "40 Nm"}, "second", "torque"),
        ("misprint", {"first": "-300 degC", "second": "-508 degF"}, "second", "colder"),
        ("units", {"value": "-460 degF"}, "value", "colder"),
        ("drops", {"drops": "0", "time": "30 s", "volume": "26 mm3"}, "drops",
         "out of bounds at 0"),
    ],
)  # fmt: skip
def test_values_that_cannot_be_are_refused_with_what_to_do(key, typed, where, says):
    faults = faults_of(key, **typed)

    assert says in faults[where].what
    assert faults[where].remedy


def test_a_plus_minus_beyond_what_can_be_is_no_fault_of_the_program():
    given_values, _ = read_sum(
        SUMS["opening"],
        [("guide", "6 ± 8 mm", "", ""), ("seat", "2.6 mm", "", ""), ("force", "400 N", "", "")],
    )
    with pytest.raises(InputFault, match="do not go together"):
        work_out(SUMS["opening"], given_values)


ODD = [
    "0", "-0", "-1", "1e300", "1e-300", "nan", "inf", "0,05", "1.000,5", "1,000", "±", "1 ± 1e99",
    "9" * 70, "0x10", "1e", "-", "5 ± 300", "1 2", "½", "\u202e5", "60 ± 200", "1e-30 ± 1",
]  # fmt: skip


@st.composite
def typed_oddly(draw):
    """Draw a sum's example with some inputs typed anew: at their bounds, or as no hand types."""
    one = draw(st.sampled_from(list(SUMS.values())))
    base = draw(st.sampled_from(one.examples)).typed
    typed = []
    for each in one.inputs:
        text, unit = base.get(each.key, ""), UNITS_OF[each.kind][0]
        edge = st.sampled_from([each.low, each.high, -each.high]).map(
            lambda si, unit=unit: f"{unit.of_si(si)!r} ± {abs(unit.of_si(si)) / 3!r}"
        )
        text = draw(st.one_of(st.just(text), st.just(text), edge, st.sampled_from(ODD)))
        sure = draw(st.sampled_from(["", "", "", "0,2", "300 %", "1e99", "x"]))
        typed.append((each.key, text, unit.name, sure))
    return one, typed


@settings(max_examples=300)
@given(typed_oddly())
def test_whatever_is_typed_gives_a_number_or_a_fault_with_what_to_do(drawn):
    one, typed = drawn
    given_values, faults = read_sum(one, typed)
    if not faults:
        try:
            done = work_out(one, given_values)
        except InputFault as fault:
            faults = fault.faults
        else:
            told = [part for each in done.results for part in result_told(each)]
            assert told
            assert not any(re.search(r"nan|inf", part) for part in told)
            return
    assert all(fault.where and fault.what and fault.remedy for fault in faults)


# -- old sheets ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "second", "says"),
    [
        ("125 kgf/cm2", "1778 psi", "They agree within"),
        ("125 kgf/cm2", "1978 psi", "1978 should read 1778 psi: one digit is wrong"),
        ("40 Nm", "33 lbf ft", "33 should read 30 lbf ft"),
        ("40 Nm", "29.5 lbf ft", "They agree within"),
        ("0.15 mm", "0.005 in", "0.005 should read 0.006 in"),
        ("45 Nm", "33.2 lbf ft", "They agree within"),
        ("175 bar", "25.38 psi", "25.38 should read 2538.16 psi"),
        ("14.22 MPa", "145 kgf/cm2", "They agree within"),
        ("15.00 MPa", "153 kgf/cm2", "They agree within"),
        ("20.7 MPa", "3000 psi", "They agree within"),
        ("175 atm", "171.6 bar", "the technical atmosphere is meant"),
        ("175 atm", "177.3 bar", "the standard atmosphere is meant"),
        ("20 degC", "68 degF", "They agree within"),
        ("1.43 mm", "0.0653 in", "do not agree"),
    ],
)  # fmt: skip
def test_a_misprint_is_told_from_two_values_that_agree(first, second, says):
    done = worked("misprint", first=first, second=second)

    assert any(says in words for words in done.remarks), done.remarks


@settings(max_examples=200)
@given(st.floats(100.0, 400.0), st.sampled_from(["bar", "MPa", "kgf/cm2"]), st.integers(1, 3))
def test_an_honest_conversion_is_never_called_a_misprint(bar, name, decimals):
    unit = next(each for each in UNITS_OF[Kind.PRESSURE] if each.name == name)
    psi = next(each for each in UNITS_OF[Kind.PRESSURE] if each.name == "psi")
    first = f"{unit.of_si(bar * 1e5):.{decimals}f} {name}"
    second = f"{psi.of_si(bar * 1e5):.0f} psi"

    assert "They agree" in worked("misprint", first=first, second=second).remarks[0]


def test_a_bare_atm_is_told_both_ways_with_what_is_likely_meant():
    done = worked("units", value="175 atm")

    assert done.result("as-technical").quantity.value == pytest.approx(171.616e5, rel=1e-5)
    assert done.result("as-standard").quantity.value == pytest.approx(177.319e5, rel=1e-5)
    assert any("technical atmosphere" in words and "no source" in words for words in done.remarks)
    assert worked("units", value="175 bar").result("as-standard") is None


def test_a_grade_at_its_limit_is_too_close_to_tell():
    """Grade 1 goes to 0.03 of the length: 1.2 mm of 40."""
    sure = worked("squareness", lean="1.1 ± 0.05 mm", free="40 mm")
    unsure = worked("squareness", lean="1.1 ± 0.2 mm", free="40 mm")

    assert any("grade 1" in words for words in sure.remarks)
    assert any("too close to tell" in words for words in unsure.remarks)


def test_the_words_say_what_the_numbers_mean():
    late = worked("start", **SUMS["start"].examples[1].typed)
    assert any("starts later" in words for words in late.remarks)
    early = worked("start", **(dict(SUMS["start"].examples[1].typed) | {"new": "150 bar"}))
    assert any("starts earlier" in words for words in early.remarks)
    bad = worked("squareness", lean="4 mm", free="30 mm")
    assert any("no grade" in words for words in bad.remarks)
    fast = worked("drops", drops="200", time="60 s", volume="26 mm3")
    assert any("faster than about one a second" in words for words in fast.remarks)


def test_a_number_without_a_unit_is_out_of_bounds_without_one():
    fault = faults_of("drops", drops="0", time="30 s", volume="26 mm3")["drops"]

    assert fault.what.endswith("at 0")
    assert "unit" not in fault.remedy
    assert "  " not in f"{fault.what} {fault.remedy}"


def test_the_coldest_temperature_there_is_can_still_be_converted():
    done = worked("units", value="-273.15 degC")

    assert done.result("temperature:degF").quantity.value == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=200)
@given(st.floats(0.05, 3.0), st.floats(0.01, 5.0), st.floats(20.0, 150.0))
def test_between_needle_and_seat_never_passes_more_than_the_bore(seat, lift, cone):
    done = worked("needle-lift", depth=f"{lift + 1.0!r} mm", stop="1 mm",
                  seat=f"{max(seat, 0.3)!r} mm", cone=f"{cone!r} deg")  # fmt: skip
    bore = math.pi * (max(seat, 0.3) * 1e-3) ** 2 / 4.0
    area = done.result("curtain").quantity.value

    assert 0.0 < area <= bore * (1.0 + 1e-12)
    opens_all = any("whole bore" in words for words in done.remarks)
    assert opens_all is math.isclose(area, bore, rel_tol=1e-12)


def test_gas_that_would_blow_back_is_told():
    holder = {"guide": "6 mm", "seat": "2.6 mm", "force": "401.888 N"}

    def blown(cylinder):
        remarks = worked("opening", **holder, cylinder=cylinder).remarks
        return any("blow back" in words for words in remarks)

    # 175 bar on the rig: (401.888 N - p As) / (Ag - As) meets p at F / Ag = 142.14 bar.
    assert not blown("141 bar")
    assert blown("143 bar")
    assert not any("blow back" in words for words in worked("opening", **holder).remarks)


def test_a_droplet_on_the_engine_is_that_against_a_cylinder_unless_it_is_said_otherwise():
    """Elkotb's exponent alone: ((180 - 45) / (160 - 45))^-0.54 against (180 / 160)^-0.54."""
    on_engine = worked("droplets", old="160 bar", new="180 bar")
    in_the_open = worked("droplets", old="160 bar", new="180 bar", cylinder="0 bar")

    def change(done):
        return done.result("change").quantity.value

    assert change(on_engine) == pytest.approx((135.0 / 115.0) ** -0.54 - 1.0, rel=1e-9)
    assert change(in_the_open) == pytest.approx((180.0 / 160.0) ** -0.54 - 1.0, rel=1e-9)
    assert "cylinder" in [each.key for each, _assumed in on_engine.taken]


def test_an_indication_says_that_its_plus_minus_is_of_the_values_alone():
    for one in SUMS.values():
        assert one.indication is any("comes on top of it" in words for words in one.validity)


def test_what_ata_and_atu_mean_is_told_where_an_atmosphere_is_not_named():
    assert any("counts from vacuum" in words for words in worked("units", value="175 ata").remarks)
