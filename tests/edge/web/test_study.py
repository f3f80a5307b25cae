"""Studies of fitters on the screen: planned, read one at a time, put right, told."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from html import unescape
from itertools import count

import numpy as np
import pytest

from nozzlewright.edge.web.app import create_app
from nozzlewright.records import EntryKind
from nozzlewright.workflow.studies import GRADES_OF, StudyOf, StudyPlan

FITTER, OTHER = "A. N. Other", "S. O. Else"
PLAN = StudyPlan(
    "", StudyOf.OPENING, ("1", "2", "3"), (FITTER, OTHER), repeats=2, seed=3, tolerance=8e5
)


@pytest.fixture
def shop(tmp_path, helper):
    made = helper("workflow/in_memory.py").workshop_in_memory(tmp_path)
    for name in (FITTER, OTHER):
        made.add_person(name, name, name)
    return made


@pytest.fixture
def fitter(shop, web_settings, serve, browser):
    one = browser(serve(create_app(shop, web_settings)))
    one.send("/settings", who=FITTER, language="en", pressure_unit="bar")
    return one


@pytest.fixture
def act():
    numbers = count(1)
    return lambda: f"act-{next(numbers)}"


def studied(shop, act, plan=PLAN, left=0):
    """A study in the record, with so many readings left to take."""
    study = shop.studies.begin(act(), FITTER, plan)
    rng = np.random.default_rng(3)
    while study.next is not None and plan.number - len(study.taken) > left:
        place = study.next
        if plan.of in GRADES_OF:
            grades = GRADES_OF[plan.of]
            grade = grades[place.part % len(grades)]
            study = shop.studies.take(act(), FITTER, study.id, place, grade=grade)
        else:
            value = 175e5 + 4e5 * place.part + 1e5 * place.fitter + rng.normal(0.0, 5e4)
            study = shop.studies.take(act(), FITTER, study.id, place, value=value)
    return study.id


def shown(answer) -> str:
    assert answer.status_code == 200, answer.status_code
    text = re.sub(r"<(script|style|title)\b.*?</\1>", "", answer.text, flags=re.DOTALL)
    text = re.sub(r"<[^>]+>", " ", text)
    return re.sub(r"\s+", " ", unescape(text))


def field_in(page: str) -> str:
    return re.search(r'name="(reading_\d+_\d+_\d+)"', page)[1]


def test_a_study_is_planned_on_the_screen(fitter, shop):
    answer = fitter.send(
        "/study/new",
        "/study",
        of="opening pressure",
        people=[FITTER, OTHER],
        fitters="N. E. Body\n",
        number="4",
        repeats="2",
        tolerance="8",
        title="before the season",
    )

    (study,) = shop.studies.all()
    assert answer.status_code == 303
    assert answer.headers["location"] == f"/study/{study.id}"
    assert study.plan.fitters == (FITTER, OTHER, "N. E. Body")
    assert study.plan.parts == ("1", "2", "3", "4")
    assert study.plan.tolerance == pytest.approx(8e5)
    assert study.who == FITTER
    assert "before the season" in shown(fitter.get("/study"))


def test_a_tolerance_is_in_the_unit_of_the_screen(fitter, shop):
    fitter.send("/settings", who=FITTER, language="en", pressure_unit="psi")
    fitter.send(
        "/study/new", "/study", of="opening pressure", people=[FITTER, OTHER], tolerance="100",
        number="3", repeats="2",
    )  # fmt: skip

    assert shop.studies.all()[0].plan.tolerance == pytest.approx(689_475.7, rel=1e-6)


def test_injectors_may_have_names(fitter, shop):
    fitter.send(
        "/study/new", "/study", of="drop time", people=[FITTER, OTHER], number="9", repeats="3",
        parts="D-7\nD-9\n\n",
    )  # fmt: skip

    assert shop.studies.all()[0].plan.parts == ("D-7", "D-9")


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        pytest.param({"people": [FITTER]}, "from one fitter it cannot be told", id="one fitter"),
        pytest.param({"number": "1"}, "from one injector it cannot be told", id="one injector"),
        pytest.param({"number": "two"}, "is not a number", id="no number"),
        pytest.param({"repeats": "1"}, "own scatter cannot be told", id="read once"),
        pytest.param({"tolerance": "0"}, "wider than zero", id="no width"),
        pytest.param({"parts": "a\na"}, "stands there twice", id="one name twice"),
    ],
)
def test_a_plan_that_tells_nothing_comes_back_with_what_was_typed(fitter, shop, sent, said):
    whole = {
        "of": "opening pressure", "people": [FITTER, OTHER], "number": "4", "repeats": "2",
        "title": "kept as typed",
    }  # fmt: skip
    answer = fitter.send("/study/new", "/study", **(whole | sent))

    assert answer.status_code == 422
    assert said in unescape(answer.text)
    assert "kept as typed" in answer.text
    assert shop.studies.all() == []


def test_one_reading_is_asked_for_at_a_time_and_none_before_is_shown(fitter, shop, act):
    study = studied(shop, act, left=5)
    place = shop.studies.study(study).next
    page = fitter.get(f"/study/{study}")

    text = shown(page)
    assert f"{PLAN.fitters[place.fitter]} injector {PLAN.parts[place.part]}" in text
    assert "Reading 8 of 12, round 2 of 2" in text
    assert "The jet goes through skin" in text
    for taken in shop.studies.study(study).taken.values():
        assert f"{taken.value / 1e5:.1f}" not in text
    assert "autofocus" in page.text


def test_a_reading_is_written_down_and_the_next_one_asked_for(fitter, shop, act):
    study = studied(shop, act, left=12)
    path = f"/study/{study}"
    place = shop.studies.study(study).next
    answer = fitter.send(path, **{field_in(fitter.get(path).text): "174,5"})

    assert answer.status_code == 303
    assert answer.headers["location"] == path
    assert shop.studies.study(study).taken[place].value == pytest.approx(174.5e5)
    assert "Reading 2 of 12" in shown(fitter.get(path))


def test_the_last_reading_leads_to_what_the_study_says(fitter, shop, act):
    study = studied(shop, act, left=1)
    path = f"/study/{study}"
    answer = fitter.send(path, **{field_in(fitter.get(path).text): "176"})

    assert answer.headers["location"] == f"{path}/result"
    assert fitter.get(path).headers["location"] == f"{path}/result"


def test_a_mistyped_reading_is_entered_again_as_a_correction(fitter, shop, act):
    study = studied(shop, act, left=5)
    path = f"/study/{study}"
    place, wrong = shop.studies.study(study).latest
    page = fitter.get(path)
    (again,) = re.findall(r'href="([^"]+[?]again=[^"]+)"', page.text)
    page = fitter.get(again)
    assert "Once more, as a correction" in shown(page)
    assert f"{wrong.value / 1e5:.1f}" not in shown(page)

    answer = fitter.send(again, path, **{field_in(page.text): "180"})

    assert answer.status_code == 303
    taken = shop.studies.study(study).taken[place]
    assert (taken.value, taken.corrected) == (pytest.approx(180e5), 1)
    assert shop.records.of_kind(EntryKind.STUDY)[0].draft.corrects == wrong.entry


def test_any_reading_of_a_finished_study_is_put_right_and_the_result_follows(fitter, shop, act):
    study = studied(shop, act)
    before = shop.studies.result(study)
    result = fitter.get(f"/study/{study}/result")
    links = re.findall(rf'href="(/study/{study}[?]again=[^"]+)"', result.text)
    assert len(links) == PLAN.number

    page = fitter.get(links[5])
    answer = fitter.send(links[5], f"/study/{study}", **{field_in(page.text): "200"})

    assert answer.headers["location"] == f"/study/{study}/result"
    after = shop.studies.result(study)
    assert after.repeatability.deviation.value > 3.0 * before.repeatability.deviation.value
    text = shown(fitter.get(f"/study/{study}/result"))
    assert "1 reading was put right" in text
    assert "Put right" in text


def test_an_entry_that_stands_for_no_reading_asks_for_the_next_one(fitter, shop, act):
    study = studied(shop, act, left=5)

    assert "Reading 8 of 12" in shown(fitter.get(f"/study/{study}?again=nothing"))


@pytest.mark.parametrize("typed", ["", "0", "-5", "much", "1e9"])
def test_what_is_no_reading_comes_back_to_the_same_place(fitter, shop, act, typed):
    study = studied(shop, act, left=12)
    path = f"/study/{study}"
    answer = fitter.send(path, **{field_in(fitter.get(path).text): typed})

    assert answer.status_code == 422
    assert "aria-invalid" in answer.text
    assert not shop.studies.study(study).taken


def test_a_page_that_is_sent_late_does_not_overwrite_and_asks_for_the_next(fitter, shop, act):
    study = studied(shop, act, left=12)
    path = f"/study/{study}"
    place = shop.studies.study(study).next
    page = fitter.get(path).text
    hidden = dict(re.findall(r'<input type="hidden" name="(\w+)"\s+value="([^"]*)"', page))
    shop.studies.take(act(), OTHER, study, place, value=170e5)
    answer = fitter.client.post(
        path, data={**hidden, field_in(page): "190"}, headers={"Origin": fitter.address}
    )

    assert "this reading is taken already" in unescape(answer.text)
    assert shop.studies.study(study).taken[place].value == 170e5
    # What was typed for another place does not stand in the input of the next one.
    assert 'value="190"' not in answer.text


@pytest.mark.parametrize("of", list(GRADES_OF))
def test_grades_are_large_buttons_with_a_key_each(fitter, shop, act, of):
    plan = replace(PLAN, of=of, tolerance=None)
    study = studied(shop, act, plan, left=12)
    path = f"/study/{study}"
    page = fitter.get(path).text
    grades = GRADES_OF[of]

    assert re.findall(r'name="grade" value="(\w+)" data-key="Digit(\d)"', page) == [
        (grade, str(key + 1)) for key, grade in enumerate(grades)
    ]
    assert fitter.send(path, grade="moist").status_code == 422
    assert fitter.send(path, grade=grades[-1]).status_code == 303
    assert [one.grade for one in shop.studies.study(study).taken.values()] == [grades[-1]]


def test_the_result_says_what_it_means_at_the_bench(fitter, shop, act):
    study = studied(shop, act)
    page = fitter.get(f"/study/{study}/result")
    text = shown(page)

    result = shop.studies.result(study)
    apart = re.search(r"apart that lie closer than ([\d.]+)", text)
    assert float(apart[1]) == pytest.approx(result.told_apart.value / 1e5, abs=0.06)
    assert "of the 8 bar that are allowed" in text.replace("\N{NO-BREAK SPACE}", " ")
    assert page.text.count("<svg") >= 4  # two pictures, each wide and narrow
    for words in ("repeatability", "GRR", "between injectors", "Table of squares", "All readings"):
        assert words in text


def test_the_result_speaks_the_screens_unit(fitter, shop, act):
    study = studied(shop, act)
    fitter.send("/settings", who=FITTER, language="en", pressure_unit="MPa")
    page = fitter.get(f"/study/{study}/result").text
    main = page[page.index("<main") :]

    assert "MPa" in main
    assert not re.search(r"\bbar\b", re.sub(r"<[^>]+>", " ", main))


def test_a_result_of_grades_says_who_agrees(fitter, shop, act):
    study = studied(shop, act, replace(PLAN, of=StudyOf.SEAT, tolerance=None))
    text = shown(fitter.get(f"/study/{study}/result")).replace("\N{NO-BREAK SPACE}", " ")

    assert "On 100 % of the injectors all gave the same grade every time" in text
    assert "kappa) is 1: almost perfect" in text
    assert "a convention" in text


def test_the_result_says_whether_it_stands_for_readings_and_what_rests_on_it(
    fitter, shop, act, monkeypatch
):
    study = studied(shop, act)
    text = shown(fitter.get(f"/study/{study}/result"))
    assert "stands for readings" in text
    assert "No test rests on it yet" in text

    newer = studied(shop, act)
    text = shown(fitter.get(f"/study/{study}/result"))
    assert "New readings do not rest on it: a newer study stands for readings now." in text
    assert "stands for readings" in shown(fitter.get(f"/study/{newer}/result"))
    later = shop.clock() + timedelta(days=400)
    for clock_of in (shop, shop.studies):
        monkeypatch.setattr(clock_of, "clock", lambda: later)
    assert "more than 365 days ago" in shown(fitter.get(f"/study/{newer}/result"))


def test_a_half_done_study_says_what_is_missing_and_how_to_go_on(fitter, shop, act):
    study = studied(shop, act, left=5)
    page = fitter.get(f"/study/{study}/result")

    assert "5 of 12 readings are missing" in shown(page)
    assert f'href="/study/{study}"' in page.text


def test_nobody_reads_without_saying_who_is_at_the_screen(shop, web_settings, serve, browser, act):
    stranger = browser(serve(create_app(shop, web_settings)))
    study = studied(shop, act, left=5)

    for path in ("/study/new", f"/study/{study}"):
        answer = stranger.get(path)
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/settings")
    assert stranger.get("/study").status_code == 200


@pytest.mark.parametrize("path", ["/study/nothing", "/study/nothing/result"])
def test_a_study_that_is_not_there_is_not_found(fitter, path):
    assert fitter.get(path).status_code == 404


@pytest.mark.parametrize("place", ["", "x", "-1", "99", "\u0663", "1e3", "9" * 40])
def test_a_place_that_is_none_is_refused_in_words(fitter, shop, act, place):
    study = studied(shop, act, left=12)
    answer = fitter.send(f"/study/{study}", part=place, value="175", reading_0_0_0="175")

    assert 400 <= answer.status_code < 500
    assert not shop.studies.study(study).taken


def test_a_large_study_is_shown_whole(fitter, shop, act):
    plan = replace(PLAN, parts=tuple(map(str, range(1, 21))), fitters=tuple("ABCDE"), repeats=3)

    shown = fitter.get(f"/study/{studied(shop, act, plan)}/result").text

    assert shown.count('class="study-value"') == 20 * 5 * 3


def test_entries_of_a_study_read_in_words(fitter, shop, act):
    from nozzlewright.edge.web.entry_words import words

    studied(shop, act, left=11)
    reading, plan = shop.records.of_kind(EntryKind.STUDY)

    assert "2 fitters, 3 injectors" in words(plan.kind, plan.body)
    assert re.search(r"injector \d; \d{3}\.\d", words(reading.kind, reading.body))
