"""The particulars of a rig's card as a form: every field there and back, all else left alone."""

from __future__ import annotations

import re
import tomllib
import uuid
from datetime import UTC, datetime, timedelta
from html import unescape

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nozzlewright.edge.web.here import Here
from nozzlewright.edge.web.screens.rig_card_form import GROUPS, PARTS, Kind
from nozzlewright.edge.wiring.rig_particulars import card_with_particulars, particulars
from nozzlewright.errors import ConditionsFault
from nozzlewright.judging.rig import RigItem

# Invented. Its gauge is written in three ways, with remarks in every corner.
CARD = b"""# Invented card of an invented rig.
[fluid]            # calibration oil
name = "invented oil"   # from the drum by the door
temperature_c = 19.5
temperature_u_c = 0.5
viscosity = [      # from the data sheet
  [20.0, 4.06],    # cold
  [40.0, 2.6],     # warm
]

# The gauge on the left.
[gauge]
id = "G-1"
range = "400 bar"  # red mark at 350
class = 1.0
certificate = [[0.0, 0.1, 0.5], [200.0, 200.4, 0.6], [400.0, 400.2, 0.8]]

[rig]
id = "invented rig 7"
volume_cm3 = 9.5   # with the new pipe

[reference]
id = "N-0"
opening_at = 185   # technical atmospheres, as on the tag
opening_tolerance_bar = 3

[blank_plug]
drop = { from_bar = 150.0, to_bar = 148.5, seconds = 60.0 }

[check]
zero_bar = 0.3
opening_bar = [181.2, 180.9]
# The end.
"""
# A value for every field, as typed at a screen in bar, and what the card then says.
TYPED = {
    "gauge.range_bar": ("600", 600.0),
    "gauge.class": ("0,6", 0.6),
    "gauge.resolution_bar": ("0.5", 0.5),
    "gauge.calibrated_on": ("2026-01-05", "2026-01-05"),
    "gauge.next_calibration_on": ("2027-01-05", "2027-01-05"),
    "fluid.name": ("another oil", "another oil"),
    "fluid.batch": ("B 12", "B 12"),
    "fluid.filled_on": ("2026-02-01", "2026-02-01"),
    "fluid.hours_used": ("12", 12.0),
    "fluid.density_15c_kg_m3": ("825", 825.0),
    "fluid.density_15c_u_kg_m3": ("1.5", 1.5),
    "filter.kind": ("paper, 5 µm", "paper, 5 µm"),
    "filter.changed_on": ("2026-02-02", "2026-02-02"),
    "probe.id": ("T-3", "T-3"),
    "probe.u_c": ("0,2", 0.2),
    "probe.calibrated_on": ("2026-01-07", "2026-01-07"),
    "probe.next_calibration_on": ("2028-01-07", "2028-01-07"),
    "reference.id": ("N-1", "N-1"),
    "reference.since": ("2026-01-09", "2026-01-09"),
    "reference.opening_bar": ("180.5", 180.5),
    "reference.opening_u_bar": ("0.3", 0.3),
    "reference.from_bar": ("150", 150.0),
    "reference.to_bar": ("100", 100.0),
    "reference.drop_s": ("21.5", 21.5),
    "reference.drop_u_s": ("0.7", 0.7),
    "reference.at_c": ("40", 40.0),
    "limits.blank_fall_bar": ("3", 3.0),
    "limits.blank_fall_s": ("60", 60.0),
    "limits.blank_fall_from_bar": ("150", 150.0),
    "limits.zero_bar": ("1", 1.0),
    "reference.opening_tolerance_bar": ("4", 4.0),
    "reference.drop_tolerance_s": ("6", 6.0),
    "limits.compliance_percent": ("25", 25.0),
    "limits.temperature_from_c": ("-5", -5.0),
    "limits.temperature_to_c": ("30", 30.0),
    "limits.oil_days": ("90", 90.0),
    "limits.oil_hours": ("200", 200.0),
    "limits.filter_days": ("180", 180.0),
    "limits.remind_days": ("30", 30.0),
    "limits.check_days": ("0", 0.0),
    "limits.calibration_grace_days": ("14", 14.0),
    "limits.study_days": ("180", 180.0),
    "limits.baseline": ("8", 8),
    "rig.volume_cm3": ("10.25", 10.25),
    "rig.volume_u_cm3": ("0.4", 0.4),
    "rig.wall_compliance_mm3_per_bar": ("0.55", 0.55),
    "rig.wall_compliance_u_mm3_per_bar": ("0.05", 0.05),
}
POINTS = ((20.0, 4.06), (40.0, 2.5), (100.0, 1.05))


def named(key):
    return key.replace(".", "_")


@pytest.fixture
def desk(helper):
    return helper("edge/web/front_shop.py")


@pytest.fixture
def clock():
    return [datetime(2026, 3, 4, 9, tzinfo=UTC)]


@pytest.fixture
def front(desk, tmp_path, web_settings, serve, browser, clock):
    one = desk.front(tmp_path, web_settings, serve, browser, clock=lambda: clock[0])
    yield one
    one.shop.close()


@pytest.fixture
def rig(front):
    front.workshop.check_rig(str(uuid.uuid4()), "A. N. Other", CARD, remarks="first")
    return front


def card_of(front):
    return front.workshop.evidence.read(front.workshop.rig().conditions)


def fields(front):
    """Return every field of the form with what stands in it, as a browser would send it."""
    shown = front.get("/rig/card")
    form = re.search(r'<form[^>]*action="/rig/card".*?</form>', shown, re.DOTALL)[0]
    inputs = re.findall(r'<input id="(\w+)" name="\1" value="([^"]*)"', form)
    return {name: unescape(value) for name, value in inputs}


def save(front, **typed):
    return front.send("/rig/card", "/rig/card", **{**fields(front), **typed})


def test_the_rigs_page_leads_to_the_form_and_without_a_rig_the_form_leads_back(front):
    assert 'href="/rig/card' not in front.get("/rig")
    assert front.browser.get("/rig/card").headers["location"] == "/rig"
    front.workshop.check_rig(str(uuid.uuid4()), "A. N. Other", CARD)
    assert "/rig/card?rig=invented%20rig%207" in front.get("/rig")
    assert 'value="600"' not in front.get("/rig/card?rig=nobody")


def test_every_particular_goes_onto_the_card_and_comes_back_into_its_field(rig):
    assert TYPED.keys() == {key for key, part in PARTS.items() if part.kind is not Kind.POINTS}
    points = {"fluid_viscosity_2": "2,5", "fluid_viscosity_c_3": "100", "fluid_viscosity_3": "1.05"}
    answer = save(rig, **{named(key): typed for key, (typed, _) in TYPED.items()}, **points)
    assert "Saved: the card of invented rig 7" in rig.saved(answer)
    stated = particulars(card_of(rig))
    assert stated == {key: value for key, (_, value) in TYPED.items()} | {"fluid.viscosity": POINTS}
    again = fields(rig)
    for key, (typed, _) in TYPED.items():
        assert again[named(key)] == typed.replace(",", ".") or PARTS[key].kind is Kind.TEXT, key
    assert (again["fluid_viscosity_c_3"], again["fluid_viscosity_3"]) == ("100", "1.05")
    # SI: the technical atmosphere of the old tag is gone with its value.
    known = rig.workshop.readers.conditions(rig.workshop.rig().conditions)
    assert known.rig.reference.opening.value == pytest.approx(180.5e5)
    assert known.rig.reference.opening.standard_uncertainty == pytest.approx(0.3e5)
    assert known.rig.limits.compliance_relative == pytest.approx(0.25)
    assert known.rig.limits.temperature_from_k == pytest.approx(268.15)


def test_what_was_measured_and_every_remark_on_the_card_stays(rig):
    rig.saved(
        save(rig, gauge_range_bar="600", reference_opening_bar="180.5", fluid_name="other oil")
    )
    text, old = card_of(rig).decode(), tomllib.loads(CARD.decode())
    for remark in re.findall(r"#.*", CARD.decode()):
        assert remark in text
    card = tomllib.loads(text)
    for table in ("check", "blank_plug", "rig"):
        assert card[table] == old[table]
    assert card["gauge"]["certificate"] == old["gauge"]["certificate"]
    assert card["fluid"] == old["fluid"] | {"name": "other oil"}
    assert "range" not in card["gauge"]
    assert card["reference"] == {"id": "N-0", "opening_bar": 180.5, "opening_tolerance_bar": 3}
    state = rig.workshop.rig()
    assert state.temperature_c == pytest.approx(19.5)
    kept = rig.workshop.rig_days.check(state)
    assert kept.zero.value == pytest.approx(0.3e5)
    assert "particulars changed: Gauge – Range of the gauge, up to, Test fluid" in rig.get("/rig")


def test_nothing_changed_writes_nothing_whatever_the_unit_and_the_language(rig):
    before = len(rig.workshop.rig_checks())
    for unit, language in (("bar", "en"), ("MPa", "de"), ("kgf/cm2", "en"), ("psi", "de")):
        rig.be(Here(who="A. N. Other", pressure_unit=unit, language=language))
        rig.saved(save(rig))
        assert card_of(rig) == CARD
    assert len(rig.workshop.rig_checks()) == before


def test_a_pressure_is_typed_in_the_screens_unit(rig):
    rig.be(Here(who="A. N. Other", pressure_unit="MPa"))
    assert fields(rig)["gauge_range_bar"] == "40"
    rig.saved(save(rig, gauge_range_bar="25", limits_zero_bar="1 bar"))
    stated = particulars(card_of(rig))
    assert (stated["gauge.range_bar"], stated["limits.zero_bar"]) == (250.0, 1.0)


def test_nothing_stated_stays_nothing_and_what_is_emptied_goes(front):
    front.workshop.check_rig(str(uuid.uuid4()), "A. N. Other", b'[rig]\nid = "R"\n')
    assert not any(fields(front).values())
    front.saved(save(front, filter_kind="paper"))
    assert tomllib.loads(card_of(front).decode())["filter"] == {"kind": "paper"}
    front.saved(save(front, filter_kind=""))
    card = tomllib.loads(card_of(front).decode())
    assert card.keys() <= {"rig", "sitting"}
    assert all(value is None for value in particulars(card_of(front)).values())


def test_every_fault_stands_beside_its_field_and_nothing_is_written(rig, desk):
    before = card_of(rig)
    answer = save(
        rig,
        gauge_range_bar="wide",
        gauge_class="12",
        gauge_calibrated_on="last spring",
        fluid_viscosity_2="5",
        fluid_density_15c_u_kg_m3="2",
        reference_drop_s="20",
        limits_blank_fall_bar="160",
        limits_blank_fall_s="60",
        limits_blank_fall_from_bar="150",
        limits_temperature_from_c="30",
        limits_temperature_to_c="10",
        limits_baseline="5,5",
        limits_zero_bar="0",
        fluid_batch="x" * 200,
    )
    assert answer.status_code == 422
    said = {
        "gauge_range_bar": "is not a unit of pressure",
        "gauge_class": "out of bounds",
        "gauge_calibrated_on": "is not a date",
        "fluid_viscosity_2": "does not fall as the temperature rises",
        "fluid_density_15c_kg_m3": "nothing has been entered",
        "reference_from_bar": "nothing has been entered",
        "reference_to_bar": "nothing has been entered",
        "limits_blank_fall_bar": "160 is not less than 150",
        "limits_temperature_from_c": "30 is not less than 10",
        "limits_baseline": "whole number",
        "limits_zero_bar": "out of bounds",
        "fluid_batch": "200 signs",
    }
    for name, words in said.items():
        assert words in unescape(desk.beside(answer.text, name)), name
    assert len(re.findall(r'class="fault-at"', answer.text)) == len(said)
    assert 'value="wide"' in answer.text
    opened = re.findall(r'id="group-(\w+)" open', answer.text)
    assert opened == ["gauge", "fluid", "reference", "limits"]
    assert card_of(rig) == before


@pytest.mark.parametrize(
    ("typed", "field", "says"),
    [
        ({"gauge_calibrated_on": "2062-03-01"}, "gauge_calibrated_on", "has not come yet"),
        ({"fluid_filled_on": "2026-03-05"}, "fluid_filled_on", "has not come yet"),
        ({"filter_changed_on": "2027-01-01"}, "filter_changed_on", "has not come yet"),
        ({"probe_calibrated_on": "2027-01-01"}, "probe_calibrated_on", "has not come yet"),
        ({"reference_since": "2027-01-01"}, "reference_since", "has not come yet"),
        ({"gauge_calibrated_on": "2026-01-05", "gauge_next_calibration_on": "2026-01-05"},
         "gauge_next_calibration_on", "does not come after 2026-01-05"),
        ({"probe_calibrated_on": "2026-01-05", "probe_next_calibration_on": "2025-01-05"},
         "probe_next_calibration_on", "does not come after 2026-01-05"),
    ],
)  # fmt: skip
def test_a_day_that_cannot_be_is_refused_beside_its_field(rig, desk, typed, field, says):
    """The shop's clock stands at 2026-03-04."""
    before = card_of(rig)
    answer = save(rig, **typed)

    assert answer.status_code == 422
    assert says in unescape(desk.beside(answer.text, field))
    assert card_of(rig) == before


def test_a_day_that_is_today_can_be(rig):
    rig.saved(save(rig, fluid_filled_on="2026-03-04", gauge_calibrated_on="2026-03-04",
                   gauge_next_calibration_on="2027-03-04"))  # fmt: skip

    assert tomllib.loads(card_of(rig).decode())["fluid"]["filled_on"] == "2026-03-04"


def test_on_another_day_the_oil_temperature_and_the_readings_of_the_check_are_left_out(rig, clock):
    clock[0] += timedelta(days=3)
    rig.saved(save(rig, limits_zero_bar="1"))
    card = tomllib.loads(card_of(rig).decode())
    assert "temperature_c" not in card["fluid"]
    assert "check" not in card
    assert card["sitting"]["date"] == "2026-03-07"
    assert card["blank_plug"]["drop"]["seconds"] == 60.0
    assert card["limits"] == {"zero_bar": 1.0}


def test_readings_made_once_count_once_in_the_charts_however_often_the_card_changes(rig, clock):
    for day in range(4):
        clock[0] += timedelta(days=1)
        card = CARD.replace(b"zero_bar = 0.3", b"zero_bar = 0.%d" % (day + 1))
        rig.workshop.check_rig(str(uuid.uuid4()), "A. N. Other", card)
    for kind in ("felt", "paper"):
        rig.saved(save(rig, filter_kind=kind))
    assert len(rig.workshop.rig_checks()) == 7
    verdict = rig.workshop.rig_days.verdict(rig.workshop.rig())
    days = ["2026-03-04", "2026-03-05", "2026-03-06", "2026-03-07", "2026-03-08"]
    assert list(verdict.charts[RigItem.ZERO].days) == days
    rig.workshop.check_rig(
        str(uuid.uuid4()), "A. N. Other", CARD.replace(b"zero_bar = 0.3", b"zero_bar = 0.35")
    )
    verdict = rig.workshop.rig_days.verdict(rig.workshop.rig())
    assert list(verdict.charts[RigItem.ZERO].days) == [*days, "2026-03-08"]


def test_a_form_sent_twice_is_saved_once_and_another_change_in_between_is_kept(rig):
    shown = rig.get("/rig/card")
    hidden = dict(re.findall(r'<input type="hidden" name="(\w+)"\s+value="([^"]*)"', shown))
    typed = fields(rig) | {"filter_kind": "paper"}
    rig.saved(save(rig, probe_id="T-9"))  # somebody else, meanwhile
    checks = len(rig.workshop.rig_checks())
    for _ in range(2):
        answer = rig.browser.client.post(
            "/rig/card", data={**hidden, **typed}, headers={"Origin": rig.browser.address}
        )
        assert answer.status_code == 303
    stated = particulars(card_of(rig))
    assert (stated["filter.kind"], stated["probe.id"]) == ("paper", "T-9")
    assert len(rig.workshop.rig_checks()) == checks + 1


def test_a_form_of_no_rig_and_one_without_fields_do_no_harm(rig):
    assert rig.send("/rig/card", "/rig/card", rig="nobody").status_code == 422
    assert rig.send("/rig/card", "/rig/card").status_code == 303
    assert card_of(rig) == CARD


def test_the_groups_hold_every_particular_once():
    keys = [part.key for group in GROUPS for part in group.parts()]
    assert len(keys) == len(set(keys))
    assert set(keys) == particulars(b"").keys()


# -- the card itself -------------------------------------------------------------------------------

STYLES = (
    'gauge.range_bar = 400 # kept\nfilter = { kind = "felt" } # too\n',
    "[gauge]\nrange_mpa = 40 # kept\n[fluid]\n[[fluid.viscosity]]\ntemperature_c = 20\nmm2_s = 4\n",
    '[gauge]\nid = "a" # kept\n[rig]\nid = "r"\n[limits]\nbaseline = 5\n\n# at the end\n',
)


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(STYLES),
    st.fixed_dictionaries(
        {},
        optional={
            "gauge.range_bar": st.none() | st.floats(1.0, 2000.0),
            "filter.kind": st.none() | st.text(min_size=1, max_size=30).filter(str.isprintable),
            "filter.changed_on": st.none() | st.dates().map(lambda day: day.isoformat()),
            "limits.baseline": st.none() | st.integers(3, 1000),
            "fluid.viscosity": st.none()
            | st.sampled_from([POINTS, POINTS[:2], POINTS[1:], ((15.0, 5.0),)]),
        },
    ),
)
def test_a_changed_card_states_what_was_asked_and_changed_back_what_it_did(card, changes):
    before = particulars(card.encode())
    changed = card_with_particulars(card.encode(), changes)
    assert particulars(changed) == before | changes
    back = card_with_particulars(changed, {key: before[key] for key in changes})
    assert particulars(back) == before
    if "gauge.range_bar" not in changes and "filter.kind" not in changes:
        assert set(re.findall("#.*", card)) <= set(re.findall("#.*", changed.decode()))


def test_a_card_that_would_break_its_schema_is_refused():
    with pytest.raises(ConditionsFault, match="does not fall"):
        card_with_particulars(b"", {"reference.from_bar": 100.0, "reference.to_bar": 150.0})
    with pytest.raises(ConditionsFault):
        card_with_particulars(b"not toml", {"filter.kind": "felt"})
