"""A certificate sent or typed, looked at, put on the rig's card; a dead-weight tester."""

from __future__ import annotations

import hashlib
import re
import tomllib
from datetime import UTC, datetime, timedelta
from urllib.parse import parse_qs, urlsplit

import pytest

from nozzlewright.edge.web.here import Here
from nozzlewright.records import EntryKind

TABLE = (
    b"# laboratory: invented laboratory\nreference [bar];up;down;U (k=2)\n0;0,2;0,5;0,3\n"
    b"50;50,4;50,8;0,3\n100;100,6;101,1;0,3\n150;150,9;151,4;0,4\n200;201,2;201,8;0,4\n"
    b"250;251,7;252,2;0,5\n"
)
RIG = "invented rig D-R1"


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


def plain(html):
    return re.sub(r"\s+", " ", html.replace("\N{NO-BREAK SPACE}", " "))


def send_file(front, content=TABLE, name="points.csv", **typed):
    return front.send(
        "/certificate", "/certificate/file", files={"table_file": (name, content)}, **typed
    )


def table_of(answer):
    assert answer.status_code == 303, plain(answer.text)[:3000]
    return parse_qs(urlsplit(answer.headers["location"]).query)["table"][0]


def card_of(front):
    text = front.workshop.evidence.read(front.workshop.rig().conditions).decode()
    return text, tomllib.loads(text)


# -- looked at -------------------------------------------------------------------------------------


def test_without_a_rig_a_certificate_can_be_looked_at_and_the_way_to_the_rig_is_shown(front):
    assert "From a file" in front.get("/certificate")
    shown = plain(front.saved(send_file(front)))

    assert "6 points" in shown
    assert "No rig has been checked yet" in shown
    assert 'href="/rig"' in shown
    assert "/certificate/take" not in shown


def test_the_certificate_on_the_card_is_shown_where_none_was_sent(front):
    front.check_rig()
    shown = plain(front.get("/certificate"))

    assert "On the card of the rig" in shown
    assert "4 points" in shown
    assert "fewer than 5 points cannot choose" in shown


def test_a_certificate_that_was_sent_is_shown_with_its_curve_and_why_it_is_that_curve(front):
    front.check_rig()
    answer = send_file(front, file_number="C-26", file_calibrated_on="2026-03-01")
    shown = plain(front.saved(answer))

    assert "Certificate C-26" in shown
    assert "invented laboratory" in shown
    assert "corrected Akaike criterion" in shown
    assert "degrees of freedom" in shown
    assert shown.count("<svg") > 2
    assert "+0.35 bar" in shown  # error of the first point: mean of 0.2 and 0.5 less 0
    assert "Since the certificate before" in shown
    # Both what was sent and what was made of it are kept.
    assert "points.csv, SHA-256" in shown


def test_all_that_is_wrong_with_a_file_is_told_with_its_lines(front):
    bad = TABLE.replace(b"100,6", b"x").replace(b"0,5\n50", b"0\n50")
    answer = send_file(front, bad)
    shown = plain(answer.text)

    assert answer.status_code == 422
    assert "points.csv, line 5" in shown
    assert "is not a number (up)" in shown


def test_no_file_is_told_beside_the_field(front, desk):
    answer = front.send("/certificate", "/certificate/file")

    assert answer.status_code == 422
    assert "no file has been chosen" in desk.beside(answer.text, "table_file")


@pytest.mark.parametrize("table", ["nothing", "0" * 64, "../../etc"])
def test_a_table_that_is_not_there_is_said_to_be_missing(front, table):
    assert "is not there" in front.get(f"/certificate?table={table}")


def test_evidence_that_is_no_certificate_is_not_taken_for_one(front):
    digest = front.workshop.evidence.keep(b"time_s,pressure_bar\n0,1\n1,2\n", "csv")

    assert "it is no certificate" in front.get(f"/certificate?table={digest}")


# -- typed -----------------------------------------------------------------------------------------


def typed_rows(**changes):
    rows = {}
    for number, reference in enumerate((0, 100, 200, 300, 400), start=1):
        rows |= {
            f"reference_{number}": str(reference),
            f"up_{number}": f"{reference + 0.5:.1f}".replace(".", ","),
            f"down_{number}": f"{reference + 0.9:.1f}",
        }
    return {**rows, "dial_unit": "bar", "doubt_all": "0,4", "coverage_k": "2", **changes}


def test_rows_that_are_typed_become_the_same_table(front):
    front.check_rig()
    answer = front.send("/certificate", "/certificate/typed", **typed_rows(number="C-9"))
    shown = plain(front.saved(answer))

    assert "5 points" in shown
    kept = front.workshop.evidence.read(table_of(answer)).decode()
    assert "100,100.5,100.9,0.4" in kept
    assert "# number: C-9" in kept


def test_a_gauge_may_show_a_little_less_than_nothing(front):
    answer = front.send("/certificate", "/certificate/typed", **typed_rows(up_1="-0,2"))

    assert "0,-0.2,0.9,0.4" in front.workshop.evidence.read(table_of(answer)).decode()


@pytest.mark.parametrize(
    ("changes", "field", "says"),
    [
        ({"reference_2": "1OO"}, "reference_2", "is not a number"),
        ({"up_3": "", "down_3": ""}, "up_3", "nothing says what the gauge showed"),
        ({"doubt_all": ""}, "doubt_1", "the uncertainty is missing"),
        ({"doubt_2": "0"}, "doubt_2", "the uncertainty is zero"),
        ({"reference_3": "100"}, "reference_3", "stands there already (row 2)"),
        ({"calibrated_on": "last year"}, "calibrated_on", "is not a date"),
        ({"calibrated_on": "2062-03-01"}, "calibrated_on", "has not come yet"),
        ({"coverage_k": "0"}, "coverage_k", "out of bounds"),
        ({f"up_{n}": f"{n * 1000}" for n in range(2, 6)}, "reference_1", "times the reference"),
    ],
)
def test_what_is_wrong_with_typed_rows_is_told_beside_the_field(front, desk, changes, field, says):
    answer = front.send("/certificate", "/certificate/typed", **typed_rows(**changes))

    assert answer.status_code == 422
    assert says in plain(desk.beside(answer.text, field))
    assert 'value="0,4"' in answer.text or "doubt_all" in changes  # what was typed is there again


def test_one_row_is_too_few(front, desk):
    answer = front.send("/certificate", "/certificate/typed", dial_unit="bar", reference_1="0",
                        up_1="0", doubt_all="1")  # fmt: skip
    assert "only 1 row" in plain(desk.beside(answer.text, "reference_1"))


# -- taken -----------------------------------------------------------------------------------------


def take(front, table, **typed):
    return front.send(f"/certificate?table={table}", "/certificate/take", **typed)


def test_a_certificate_goes_onto_the_card_and_into_the_readings(front):
    front.check_rig()
    before, _ = card_of(front)
    table = table_of(send_file(front, file_number="C-26", file_calibrated_on="2026-03-01"))
    shown = plain(front.saved(take(front, table, next_calibration_on="2027-03-01")))

    assert "Saved: the certificate is on the card" in shown
    text, card = card_of(front)
    assert text.startswith(before.splitlines()[0])
    gauge = card["gauge"]
    assert gauge["certificate"][2] == [100.0, 100.85, 0.3, 0.5]
    assert gauge["certificate_number"] == "C-26"
    assert str(gauge["next_calibration_on"]) == "2027-03-01"
    assert gauge["drift_bar_per_year"] > 0.0
    unchanged = tomllib.loads(before)
    assert {k: v for k, v in card.items() if k not in {"gauge", "sitting"}} == {
        k: v for k, v in unchanged.items() if k not in {"gauge", "sitting"}
    }
    known = front.workshop.readers.conditions(front.workshop.rig().conditions)
    assert len(known.gauge.certificate) == 6
    (entry,) = front.workshop.records.of_kind(EntryKind.RIG_CHECK, last=1)
    assert "C-26" in entry.body["remarks"]
    assert table in entry.body["remarks"]
    assert table in entry.draft.evidence
    assert hashlib.sha256(TABLE).hexdigest() in entry.draft.evidence  # the file as it was sent
    assert "certificate" in front.get("/certificate").lower()
    assert "6 points" in plain(front.get("/certificate"))


def test_a_certificate_that_would_run_out_before_it_was_made_is_refused(front, desk):
    front.check_rig()
    before, _ = card_of(front)
    table = table_of(send_file(front, file_calibrated_on="2026-03-01"))
    answer = take(front, table, next_calibration_on="2025-03-01")

    assert answer.status_code == 422
    assert "does not come after 2026-03-01" in plain(answer.text)
    assert card_of(front)[0] == before


def test_a_second_tap_changes_nothing(front):
    front.check_rig()
    table = table_of(send_file(front))
    page = front.get(f"/certificate?table={table}")
    form = next(one for one in re.findall(r"<form.*?</form>", page, re.DOTALL) if "/take" in one)
    hidden = dict(re.findall(r'<input type="hidden" name="(\w+)"\s+value="([^"]*)"', form))
    for _ in range(2):
        answer = front.browser.client.post(
            "/certificate/take", data=hidden, headers={"Origin": front.browser.address}
        )
        assert answer.status_code == 303
    assert len(front.workshop.rig_checks(9)) == 2


def test_on_another_day_the_temperature_of_the_old_one_is_not_that_of_today(front, clock):
    front.check_rig()
    clock[0] += timedelta(days=3)
    front.saved(take(front, table_of(send_file(front, file_calibrated_on="2026-03-05"))))
    _, card = card_of(front)

    assert "temperature_c" not in card["fluid"]
    assert str(card["sitting"]["date"]) == "2026-03-07"
    assert front.workshop.rig().temperature_c is None


def test_a_certificate_of_another_gauge_is_said_to_be_one(front):
    front.check_rig()
    shown = plain(front.saved(send_file(front, file_gauge="G-99")))

    assert "The certificate is of gauge “G-99”" in shown


def test_nobody_at_the_screen_takes_nothing(front):
    front.check_rig()
    table = table_of(send_file(front))
    front.be(Here(who=""))
    answer = take(front, table)

    assert answer.status_code in {303, 422}
    assert len(front.workshop.rig_checks(9)) == 1


def test_a_lost_table_cannot_be_taken(front, desk):
    front.check_rig()
    table = table_of(send_file(front))
    page = f"/certificate?table={table}"
    answer = front.send(page, "/certificate/take", table="0" * 64)

    assert answer.status_code == 422
    assert "not there any more" in plain(answer.text)


# -- dead weight -----------------------------------------------------------------------------------

SET_UP = {
    "area": "10", "area_u": "0,02", "piston": "0.5", "weights_u": "0.01", "latitude": "45",
    "mass_1": "0", "mass_2": "4.5", "mass_3": "9.5", "mass_4": "19.5", "day": "2026-03-04",
    "division": "0.1", "tester": "DW-3", "gauge": "G-7",
}  # fmt: skip


def set_up(front, **changes):
    return front.send("/dead-weight", "/dead-weight", **{**SET_UP, **changes})


def session_of(answer):
    assert answer.status_code == 303, plain(answer.text)[:3000]
    return parse_qs(urlsplit(answer.headers["location"]).query)["session"][0]


def test_weights_become_pressures_with_their_uncertainty(front):
    shown = plain(front.saved(set_up(front)))

    # 20 kg on 10 mm2 at 9.806199 m/s2 in air of 1.2 kg/m3: 196.1240 - 0.0298 = 196.0942 bar.
    assert "20 kg: 196.094 bar ± 0.0" in shown
    assert "area of the piston" in shown
    assert "local gravity" in shown
    assert "goes through skin" in shown
    shares = re.findall(r'data-label="of the value">(.+?) %<', shown)
    assert len(shares) == 5
    assert all(re.fullmatch(r"&lt; 0\.001|[\d.]+", share) for share in shares), shares
    assert "&lt; 0.001" in shares


def test_what_the_gauge_showed_becomes_a_certificate_of_ones_own(front):
    front.check_rig()
    session = session_of(set_up(front))
    shown = {}
    for number, reference in enumerate((4.9, 49.0, 98.1, 196.1), start=1):
        shown |= {f"up_{number}": f"{reference + 0.2:.1f}", f"down_{number}": f"{reference + 0.5}"}
    answer = front.send(
        f"/dead-weight?session={session}", "/dead-weight/readings", dial_unit="bar", **shown
    )
    page = plain(front.saved(answer))

    assert "own, 2026-03-04" in page
    assert "4 points" in page
    assert "dead-weight tester DW-3" in page
    kept = front.workshop.evidence.read(table_of(answer)).decode()
    assert session in kept
    front.saved(take(front, table_of(answer)))
    known = front.workshop.readers.conditions(front.workshop.rig().conditions)
    assert known.gauge.certificate[-1].reference_pa == pytest.approx(196.0942e5, rel=1e-6)
    assert known.gauge.certificate[-1].standard_uncertainty_pa > 0.1e5 / 12**0.5


@pytest.mark.parametrize(
    ("changes", "field", "says"),
    [
        ({"area": ""}, "area", "nothing has been entered"),
        ({"area": "0.01"}, "area", "would make"),
        ({"latitude": ""}, "latitude", "neither gravity nor latitude"),
        ({"latitude": "91"}, "latitude", "out of bounds"),
        ({"gravity": "1.62"}, "gravity", "out of bounds"),
        ({"mass_2": "", "mass_3": "", "mass_4": "", "piston": ""}, "mass_1", "two weights"),
        ({"mass_3": "heavy"}, "mass_3", "is not a number"),
        ({"day": "yesterday"}, "day", "is not a date"),
        ({"day": "2062-03-04"}, "day", "has not come yet"),
    ],
)
def test_a_set_up_that_cannot_be_is_told_beside_the_field(front, desk, changes, field, says):
    answer = set_up(front, **changes)

    assert answer.status_code == 422
    assert says in plain(desk.beside(answer.text, field))


def test_readings_without_a_reading_are_told(front, desk):
    session = session_of(set_up(front))
    answer = front.send(
        f"/dead-weight?session={session}", "/dead-weight/readings", dial_unit="bar", up_1="5"
    )

    assert "two weights are the least" in plain(desk.beside(answer.text, "up_1"))


def test_a_tester_of_which_nothing_is_known_makes_no_certificate(front, desk):
    session = session_of(set_up(front, area_u="", weights_u="", division="", gravity="9.80665",
                                gravity_u="0"))  # fmt: skip
    shown = {f"up_{n}": str(p) for n, p in enumerate((4.9, 49.0, 98.1, 196.1), start=1)}
    page = front.get(f"/dead-weight?session={session}")

    assert "uncertainty" in page
    answer = front.send(
        f"/dead-weight?session={session}", "/dead-weight/readings", dial_unit="bar", **shown
    )
    # The air's density leaves a little; it is never nothing.
    assert answer.status_code == 303
    assert ",0\n" not in front.workshop.evidence.read(table_of(answer)).decode()


@pytest.mark.parametrize("session", ["nothing", "0" * 64])
def test_a_set_up_that_is_not_there_is_said_to_be_missing(front, session):
    assert "not there any more" in front.get(f"/dead-weight?session={session}")
