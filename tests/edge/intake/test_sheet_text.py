"""What the form of a sheet says is what the reader reads, and comes back into the form."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from nozzlewright.bench import TRADE_ORDER
from nozzlewright.edge.intake.sheet import read_sheet, sheet_of
from nozzlewright.edge.intake.sheet_text import (
    checked_sheet,
    key_for,
    printed_check,
    sheet_text,
    sheet_values,
)
from nozzlewright.edge.intake.toml_schema import toml_document
from nozzlewright.errors import SheetFault
from nozzlewright.measurement import kelvin
from nozzlewright.measurement.units import BAR, PRESSURE_UNITS, PSI
from nozzlewright.said import Said

EXAMPLES = sorted((Path(__file__).parents[3] / "setting_sheets").glob("*.toml"))
HEAD = {
    "title": "Invented sheet",
    "injector": "invented holder, multi-hole nozzle",
    "document": "Invented manual",
    "edition": "edition 3",
}
BAND = {"used": "175 to 183 bar (2538 to 2654 psi)", "used_page": "7-12"}


def read(raw: bytes):
    return sheet_of(toml_document(Path("sheet.toml"), raw, SheetFault))


def faults_of(typed):
    with pytest.raises(SheetFault) as caught:
        sheet_text(typed)
    return {(fault.where, fault.what) for fault in caught.value.faults}


# Whatever a person may type, quotes, brackets, control characters and other scripts included;
# without figures, so that no words are taken for a value that belongs to the limit beside them.
WORDS = st.text(
    st.characters(codec="utf-8", exclude_categories=["Nd", "Nl", "No"]), min_size=1, max_size=40
).map(lambda text: text.strip() or "words")
SECONDS = st.integers(1, 9999).map(str) | st.integers(1, 999).map(lambda n: f"{n}.5")
UNITS = st.sampled_from(["bar", "MPa", "kgf/cm2", "psi", "kPa"])


@st.composite
def spans(draw, between=(" to ", "-", " – ")):
    low = draw(st.integers(1, 900))
    high = low + draw(st.integers(1, 90))
    return low, high, draw(UNITS), draw(st.sampled_from(between))


@st.composite
def sheets(draw):
    """A form with what it must say in SI."""
    typed = {name: draw(WORDS) for name in HEAD}
    assume("; " not in typed["edition"])
    said = {}
    for name in draw(st.sets(st.sampled_from(["new", "used"]))):
        low, high, unit, between = draw(spans())
        typed[name] = f"{low}{between}{high} {unit}"
        typed[f"{name}_page"] = draw(WORDS)
        said[name] = (low * PRESSURE_UNITS[unit], high * PRESSURE_UNITS[unit])
    if draw(st.booleans()):
        low, high, unit, between = draw(spans())
        typed |= {
            "fall": f"{high}{between}{low} {unit}",
            "fall_least": draw(SECONDS),
            "fall_page": draw(WORDS),
            "fall_temperature": f"{draw(st.integers(0, 90))} °C",
        }
        if draw(st.booleans()):
            typed |= {"fall_words": draw(WORDS), "fall": f"{high} to {low} {unit}"}
        said["fall"] = (high * PRESSURE_UNITS[unit], low * PRESSURE_UNITS[unit])
    if draw(st.booleans()):
        typed |= {
            "seat_how": "fixed",
            "seat_pressure": "0.1 kPa",  # below every opening that is drawn
            "seat_seconds": draw(SECONDS),
            "seat_tip": draw(st.sampled_from(["dry", "damp"])),
            "seat_words": draw(WORDS),
            "seat_page": draw(WORDS),
        }
    if draw(st.booleans()):
        typed |= {"spray_words": draw(WORDS), "spray_page": draw(WORDS), "washer": draw(WORDS)}
    for row in range(1, draw(st.integers(0, 3)) + 1):
        typed |= {
            f"torque_{row}_part": draw(WORDS),
            f"torque_{row}_value": f"{draw(st.integers(1, 200))} Nm",
            f"torque_{row}_page": draw(WORDS),
        }
    left_out = draw(st.sets(st.sampled_from(["flush", "match", "chatter"]), max_size=2))
    if left_out:
        typed["left_out"] = " ".join(step.key for step in TRADE_ORDER if step.key in left_out)
    if draw(st.booleans()):
        typed |= {
            "step_1_key": "soak-longer",
            "step_1_title": draw(WORDS),
            "step_1_after": "strip",
            "step_1_text": draw(WORDS),
        }
    return typed, said


@settings(max_examples=60)
@given(sheets())
def test_what_the_form_says_is_what_the_reader_reads(made):
    typed, said = made
    raw = sheet_text(typed)
    sheet = read(raw)
    assert (sheet.title, sheet.injector) == (typed["title"], typed["injector"])
    assert sheet.source == f"{typed['document']}; {typed['edition']}"
    assert sheet.washer == typed.get("washer", "")
    for name, band in (("new", sheet.opening_new), ("used", sheet.opening_used)):
        assert (band is None) == (name not in said)
        if band is not None:
            assert (band.lower_pa, band.upper_pa) == pytest.approx(said[name])
            assert band.printed.text == typed[name]
            assert band.printed.where == typed[f"{name}_page"]
    fall = sheet.back_leakage
    assert (fall is None) == ("fall" not in said)
    if fall is not None:
        assert (fall.window.from_pa, fall.window.to_pa) == pytest.approx(said["fall"])
        assert fall.at_least_s == float(typed["fall_least"])
        degrees = float(typed["fall_temperature"].split()[0])
        assert fall.window.reference_temperature_k == kelvin(degrees)
        assert fall.printed.text.startswith(typed.get("fall_words", typed["fall"]))
    assert (sheet.seat is None) == ("seat_tip" not in typed)
    if sheet.seat is not None:
        assert sheet.seat.fixed_pa == pytest.approx(100.0)
        assert sheet.seat.damp_allowed == (typed["seat_tip"] == "damp")
        assert sheet.seat.seconds == float(typed["seat_seconds"])
        assert sheet.seat.printed.text == typed["seat_words"]
    assert [torque.part for torque in sheet.torques] == [
        typed[f"torque_{row}_part"] for row in range(1, len(sheet.torques) + 1)
    ]
    assert sheet.steps.left_out == frozenset(typed.get("left_out", "").split())
    assert [step.text for step in sheet.steps.added] == (
        [typed["step_1_text"]] if "step_1_text" in typed else []
    )
    assert sheet_values(raw) == typed


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_a_copy_that_is_not_changed_asks_for_the_same(path):
    typed = sheet_values(path.read_bytes())
    old = read_sheet(path)
    typed |= {"edition": "1"} | {
        page: typed.get(page, "none")
        for page, limit in (
            ("used_page", "used"), ("new_page", "new"), ("seat_page", "seat_pressure"),
            ("fall_page", "fall"), ("drops_page", "drops_pressure"), ("chatter_page", "chatter"),
            ("spray_page", "spray_words"), ("spread_page", "spread"),
            ("adjust_page", "shim_effect"), ("adjust_page", "screw_effect"),
            ("spring_page", "spring_free"), ("torque_1_page", "torque_1_value"),
            ("torque_2_page", "torque_2_value"),
        )
        if limit in typed
    }  # fmt: skip
    new = read(sheet_text(typed))

    def bare(band):
        return None if band is None else (band.lower_pa, band.upper_pa, band.target_pa)

    assert bare(new.opening_new) == bare(old.opening_new)
    assert bare(new.opening_used) == bare(old.opening_used)
    assert new.adjustment.shim_sizes_m == old.adjustment.shim_sizes_m
    assert new.adjustment.shim_effect_pa_per_m == old.adjustment.shim_effect_pa_per_m
    assert new.adjustment.screw_pa_per_turn == old.adjustment.screw_pa_per_turn
    assert new.geometry == old.geometry
    assert (new.spring is None) == (old.spring is None)
    if old.spring is not None:
        bare_spring = {**vars(old.spring), "printed": new.spring.printed}
        assert vars(new.spring) == bare_spring
    assert (new.rule, new.invented, new.washer, new.spread_pa, new.steps) == (
        old.rule, old.invented, old.washer, old.spread_pa, old.steps,
    )  # fmt: skip
    for name in ("seat", "back_leakage", "leak_off", "chatter", "spray"):
        a, b = getattr(new, name), getattr(old, name)
        assert (a is None) == (b is None)
        if a is not None:
            assert {k: v for k, v in vars(a).items() if k != "printed"} == {
                k: v for k, v in vars(b).items() if k != "printed"
            }
    assert [(t.part, t.low_nm, t.high_nm) for t in new.torques] == [
        (t.part, t.low_nm, t.high_nm) for t in old.torques
    ]


PAGE_OF = {
    "used": "used_page",
    "new": "new_page",
    "seat_pressure": "seat_page",
    "fall": "fall_page",
    "drops_pressure": "drops_page",
    "chatter": "chatter_page",
    "spray_words": "spray_page",
    "spread": "spread_page",
    "shim_effect": "adjust_page",
    "screw_effect": "adjust_page",
    "spring_free": "spring_page",
    "torque_1_value": "torque_1_page",
    "torque_2_value": "torque_2_page",
}


def completed(path):
    """Return what stands in the fields of a copy, with the pages and edition that it lacks."""
    typed = {name: text for name, text in sheet_values(path.read_bytes()).items() if text}
    pages = {page: "none" for field, page in PAGE_OF.items() if field in typed}
    return {"edition": "1"} | pages | typed


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_a_copy_in_which_one_thing_is_changed_keeps_the_remarks_of_the_sheet(path):
    old = path.read_bytes()
    typed = completed(path) | {"title": "another name"}
    edited = sheet_text(typed, old)
    assert tomllib.loads(edited.decode()) == tomllib.loads(sheet_text(typed).decode())
    before, after = remarks(old), remarks(edited)
    assert before
    assert [one for one in before if one in after] == before
    tables = [
        [line.split()[0] for line in raw.decode().splitlines() if line.startswith("[")]
        for raw in (old, edited)
    ]
    # In their old order; one band for all parts becomes two tables of its own.
    assert [name for name in tables[1] if name in tables[0]] == tables[0]


def remarks(raw: bytes):
    """Return the remarks of a sheet: what stands after a # outside of any text."""
    lines = (re.sub(r'"[^"]*"', '""', line) for line in raw.decode().splitlines())
    return [line.partition("#")[2].strip() for line in lines if "#" in line]


@settings(max_examples=60)
@given(sheets(), st.sampled_from(EXAMPLES))
def test_whatever_is_changed_in_a_copy_it_says_what_the_form_says(made, path):
    typed, _ = made
    edited = sheet_text(typed, path.read_bytes())
    assert tomllib.loads(edited.decode()) == tomllib.loads(sheet_text(typed).decode())
    assert sheet_values(edited) == typed
    assert sheet_text(typed, edited) == edited


@given(st.binary(max_size=60))
def test_what_is_no_sheet_is_not_edited(raw):
    typed = completed(EXAMPLES[0])
    assert tomllib.loads(sheet_text(typed, raw).decode()) == tomllib.loads(
        sheet_text(typed).decode()
    )


def test_a_misprint_in_the_second_unit_stands_beside_its_field():
    # 125 kgf/cm2 beside 1978 psi (it is 1778) stands in a printed manual.
    typed = HEAD | {"spread": "125 kgf/cm2 (1978 psi)", "spread_page": "4"}
    found = faults_of(typed)
    assert {where for where, _ in found} == {"spread"}
    typed["spread"] = "125 kgf/cm2 (1778 psi)"
    assert read(sheet_text(typed)).spread_pa == pytest.approx(125 * 98_066.5)


def test_each_limit_asks_for_its_page():
    typed = HEAD | {"used": BAND["used"], "torque_2_part": "nut", "torque_2_value": "40 Nm"}
    typed |= {"chatter": "weak", "spray_words": "fine"}
    assert {where for where, what in faults_of(typed) if what == "the page is not given"} == {
        "used_page", "torque_2_page", "chatter_page", "spray_page",
    }  # fmt: skip


def test_an_empty_form_says_what_every_sheet_needs():
    assert {where for where, _ in faults_of({})} == set(HEAD)


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"used": "183 to 175 bar", "used_page": "1"}, "used"),
        ({"used": "175 bar", "used_page": "1"}, "used"),
        ({"used": "175 to 183 bar, earlier 160 to 170 bar", "used_page": "1"}, "used"),
        ({**BAND, "used_target": "190 bar"}, "used_target"),
        ({"new_target": "190 bar", "new_page": "1"}, "new"),
        ({"fall": "100 to 150 bar", "fall_least": "6", "fall_page": "1"}, "fall"),
        ({"fall": "150 to 100 bar", "fall_page": "1"}, "fall_least"),
        ({"fall": "150 ± 5 bar", "fall_least": "6", "fall_page": "1"}, "fall"),
        ({"seat_tip": "dry", "seat_seconds": "10", "seat_page": "1"}, "seat_pressure"),
        ({"seat_seconds": "ten", "seat_pressure": "20 bar", "seat_page": "1", "seat_tip": "dry"},
         "seat_seconds"),
        ({"drops_pressure": "103 bar", "drops_seconds": "30", "drops_page": "1"}, "drops_least"),
        ({"drops_pressure": "103 bar", "drops_seconds": "30", "drops_page": "1",
          "drops_most": "3.5"}, "drops_most"),
        ({"shim_list": "1.00; thick"}, "shim_list"),
        ({"shim_thinnest": "1.0 mm", "shim_thickest": "1.9 mm", "shim_step": "0.4 mm"},
         "shim_thinnest"),
        ({"torque_3_part": "nut", "torque_3_value": "40", "torque_3_page": "1"},
         "torque_3_value"),
        ({"step_4_title": "Soak", "step_4_after": "no-such-step"}, "left_out"),
        ({"step_4_title": "Soak"}, "step_4_after"),
        ({"used": "120 to 128 at", "used_page": "1"}, "used"),
        ({"guide_diameter": "2 mm", "seat_diameter": "3 mm"}, "seat_diameter"),
    ],
)  # fmt: skip
def test_a_fault_stands_beside_the_field_in_which_it_was_typed(typed, field):
    assert field in {where for where, _ in faults_of(HEAD | typed)}


def test_an_old_document_in_atmospheres_is_taken_once_it_is_said_which():
    typed = HEAD | {"used": "120 to 128 at (1707 to 1821 psi)", "used_page": "14"}
    typed["atmosphere"] = "technical"
    assert read(sheet_text(typed)).opening_used.lower_pa == pytest.approx(120 * 98_066.5)


def test_one_size_of_shim_needs_no_unit_and_may_have_a_decimal_comma():
    typed = HEAD | {"shim_list": "1,00; 1.05 mm, 1100 µm"}
    sizes = read(sheet_text(typed)).adjustment.shim_sizes_m
    assert sizes == pytest.approx((1.00e-3, 1.05e-3, 1.10e-3))


def test_an_added_step_has_a_name_of_its_own_made_from_its_title():
    typed = HEAD | {"step_1_title": "Soak over night", "step_1_after": "strip"}
    (step,) = read(sheet_text(typed)).steps.added
    assert (step.key, step.title, step.after) == ("soak-over-night", "Soak over night", "strip")
    assert len(key_for("x" * 90, 1)) == 31


def test_the_check_while_typing_says_how_far_two_units_lie_apart():
    check = printed_check("125 kgf/cm2 (1978 psi)")
    (fault,) = check.faults
    apart_bar = (1978 * PSI - 125 * 98_066.5) / BAR
    assert f"{apart_bar:.1f} bar apart" in fault.what
    assert check.values == ("122.6 bar",)
    sound = printed_check("175 to 183 bar (2538 to 2654 psi)")
    assert (sound.values, sound.faults) == (("175.0 bar to 183.0 bar",), ())


def test_the_check_while_typing_asks_which_atmosphere_is_meant():
    asked = printed_check("175 at (2489 psi)")
    (fault,) = asked.faults
    assert "fits the technical atmosphere" in fault.remedy
    assert printed_check("175 at (2489 psi)", "technical").faults == ()
    # 175 standard atmospheres are 2572 psi.
    assert len(printed_check("175 at (2489 psi)", "standard").faults) == 1


@pytest.mark.parametrize(
    "text", ["175 to 183 at", "175 to 183 at (2489 to 2603 psi)", "175-183 atm (2572-2689 psi)"]
)
def test_a_form_asks_for_the_atmosphere_where_the_form_has_it_not_as_a_file(text):
    (fault,) = printed_check(text).faults
    # The technical is one kgf/cm2, the standard 101 325 Pa (NIST SP 811:2008, appendix B).
    assert f"{175 * 98_066.5 / BAR:.1f} bar or {175 * 101_325 / BAR:.1f} bar" in fault.what
    assert "at the top of this form" in fault.remedy
    assert not {"=", '"'} & {*fault.what, *fault.remedy}
    assert isinstance(fault.what, Said)  # so that it is spoken in the reader's language
    assert isinstance(fault.remedy, Said)
    assert faults_of({**HEAD, **BAND, "used": text}) == {("used", fault.what)}


@given(st.text(max_size=80))
def test_the_check_while_typing_takes_whatever_is_typed(text):
    check = printed_check(text)
    assert all(isinstance(one, str) for one in check.values)


def test_the_faults_of_a_file_that_was_sent_say_their_lines():
    with pytest.raises(SheetFault) as caught:
        checked_sheet(b'title = "x"\n[seat]\nseconds = 0\n', "file")
    assert {fault.where for fault in caught.value.faults} == {"file"}
    assert any(fault.what.startswith("line 3, seat.seconds: ") for fault in caught.value.faults)
