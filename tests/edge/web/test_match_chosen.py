"""A match is chosen on its page, and the step of the setting shows what it plans there."""

from __future__ import annotations

import re
import uuid

import pytest

from nozzlewright.edge.store import verify
from nozzlewright.edge.web.app import create_app
from nozzlewright.edge.wiring.shop import open_shop
from nozzlewright.records import EntryKind
from nozzlewright.workflow import NewTest
from nozzlewright.workflow.match_chosen import chosen_match

CARRY_OUT, CHANGED = "Carry this plan out", "Changed: read it again"


@pytest.fixture(scope="module")
def made(helper):
    return helper("edge/web/bench_shop.py")


@pytest.fixture(scope="module")
def match(helper):
    return helper("edge/web/test_match.py")


class AtTheScreen:
    """A set, a person at the screen, and the forms of its pages."""

    def __init__(self, there, made, match):
        self.shop, self.job, self.person = there.shop, there.job, there.person
        self.made, self.match = made, match

    @property
    def story(self):
        return self.shop.story(self.job)

    def one(self, cylinder=1):
        return self.story.at_cylinder(cylinder)

    def step(self, cylinder=1, more=""):
        return f"/job/{self.job}/injector/{self.one(cylinder).injector}/step/set{more}"

    def findings(self, cylinder=1):
        return f"/job/{self.job}/injector/{self.one(cylinder).injector}/findings?part=spring"

    def words(self, path, status=200):
        answer = self.person.get(path)
        assert answer.status_code == status, answer.text[:2000]
        text = re.sub(r"<(script|style|svg)\b.*?</\1>", " ", answer.text, flags=re.DOTALL)
        text = re.sub(r"<[^>]+>", " ", text).replace("\N{NO-BREAK SPACE}", " ")
        return re.sub(r"\s+", " ", text)

    def form(self, path, button):
        forms = self.made.forms_of(self.person.get(path).text)
        return next(one for one in forms if any(button in words for words in one.buttons))

    def tap(self, path, button, **typed):
        return self.send(self.form(path, button), **typed)

    def send(self, form, status=303, **typed):
        sent = {name: values for name, values in form.fields.items() if values != [""]}
        answer = self.person.client.post(
            form.action, data={**sent, **typed}, headers={"Origin": self.person.address}
        )
        assert answer.status_code == status, answer.text[:3000]
        return answer

    def choose(self, more="?go=1"):
        return self.tap(f"/job/{self.job}/match{more}", CARRY_OUT)

    def take(self, cylinder=1):
        injector = self.one(cylinder).injector
        self.match.note(self.made, self.shop, self.job, EntryKind.TAKEN_IN_HAND, injector)

    def read(self, bar, cylinder=1, step="re-read"):
        card = self.shop.evidence.keep(self.match.CARD.format(bar).encode(), "toml")
        new = NewTest(step, card=card, seen=self.match.GOOD)
        injector = self.one(cylinder).injector
        self.shop.test(self.made.act(), self.made.FITTER, self.job, injector, new, done=step)


@pytest.fixture
def screen(made, match, helper, tmp_path, web_settings, serve, browser):
    """Four injectors, one of them far below the others; shims in short supply."""
    there = match.a_shop(
        made, helper, tmp_path, web_settings, serve, browser,
        [196.4, 202.0, 202.6, 204.0], [1.30, 1.30, 1.25, 1.30], {1250: 1, 1350: 1, 1400: 0},
    )  # fmt: skip
    return AtTheScreen(there, made, match)


def test_a_choice_is_put_into_the_story_and_shown(screen):
    answer = screen.choose()

    assert answer.headers["location"] == f"/job/{screen.job}/match#planned"
    entry = screen.story.match.entry
    assert (entry.draft.who, entry.kind) == (screen.made.FITTER, EntryKind.MATCH)
    words = screen.words(f"/job/{screen.job}/match")
    assert "The match that was chosen 0 of 1 injectors done" in words
    assert re.search(r"Cylinder 1 to do 1.35 mm \(\+0.05 mm\), foretold 200\.\d ± 2\.\d bar", words)
    story = screen.words(f"/job/{screen.job}/story")
    assert "Match chosen 1 injector opened; All in band, spread 2.6 bar" in story


def test_a_tap_that_is_repeated_is_one_choice(screen):
    form = screen.form(f"/job/{screen.job}/match?go=1", CARRY_OUT)
    for _ in range(3):
        screen.send(form)

    assert len(screen.story.matches) == 1


def test_the_step_shows_the_planned_shim_first_and_fills_the_form(screen):
    screen.choose()
    screen.take()
    words = screen.words(screen.step())

    assert words.index("Planned by the match to do 1.35 mm +0.05 mm") < words.index("Shim now")
    assert re.search(r"The gauge will show 200\.\d ± 2\.\d bar", words)
    assert "Best prospect" not in words
    assert screen.form(screen.step(), CHANGED).fields["shim_to_mm"] == ["1.35"]
    alone = screen.words(screen.step(more="?choice=0"))
    assert "Best prospect" in alone
    assert "Back to what is planned" in alone


def test_it_is_marked_done_when_the_change_is_noted_and_told_when_it_is_read(screen):
    screen.choose()
    screen.take()
    screen.tap(screen.step(), CHANGED)
    assert "Planned by the match done, not read yet 1.35 mm" in screen.words(screen.step())

    screen.read(201.2)
    words = screen.words(screen.step())
    assert "done, as foretold" in words
    assert "1 of 1 injectors done" in words
    assert "1 of 1 injectors done" in screen.words(f"/job/{screen.job}/match")


def test_a_reading_that_makes_the_plan_stale_is_said_and_nothing_is_filled_in(screen):
    screen.choose()
    screen.take()
    screen.read(199.9, step="as-found")
    words = screen.words(screen.step())

    assert "Planned by the match out of date" in words
    assert "The match is out of date: work it out anew." in words
    assert "it was read again, 199." in words
    assert screen.form(screen.step(), CHANGED).fields["shim_to_mm"] != ["1.35"]
    page = screen.words(f"/job/{screen.job}/match")
    assert "The match that was chosen out of date" in page


def test_the_plan_that_was_chosen_is_told_as_such(screen):
    page = f"/job/{screen.job}/match?go=1"
    assert "This is the plan that was chosen." not in screen.words(page)
    screen.choose()

    assert "This is the plan that was chosen." in screen.words(page)
    assert "This is the plan that was chosen." not in screen.words(f"{page}&work=0")


def test_a_newer_choice_takes_the_place_of_the_older_one(screen):
    screen.choose()
    answer = screen.tap(f"/job/{screen.job}/match?go=1&work=0", "Leave the set as it is")

    assert answer.status_code == 303
    assert len(screen.story.matches) == 2
    screen.take()
    words = screen.words(screen.step())
    assert "Planned by the match stays as it is leave it" in words
    assert screen.words(f"/job/{screen.job}/story").count("Match chosen") >= 2


def test_a_set_that_has_changed_since_is_not_chosen_unseen(screen):
    form = screen.form(f"/job/{screen.job}/match?go=1", CARRY_OUT)
    screen.take(2)
    screen.read(199.0, 2, step="as-found")

    answer = screen.send(form, status=422)

    assert "the set has changed since this was worked out" in answer.text
    assert screen.story.match is None


@pytest.mark.parametrize(
    "typed",
    [{"work": "99"}, {"work": "²"}, {"case": "x" * 300}, {"open": "1"}, {"work": ""}],
)
def test_nonsense_is_refused_and_nothing_is_noted(screen, typed):
    form = screen.form(f"/job/{screen.job}/match?go=1", CARRY_OUT)
    more = {"chosen": "1"} if "open" in typed else {}

    screen.send(form, status=422, **typed, **more)

    assert screen.story.match is None


def test_a_job_that_was_handed_over_takes_no_match(screen, made):
    form = screen.form(f"/job/{screen.job}/match?go=1", CARRY_OUT)
    first = screen.one().injector
    screen.shop.note(made.act(), made.OTHER, screen.job, EntryKind.SECOND_PERSON,
                     {"agrees": True}, injector=first)  # fmt: skip
    screen.shop.note(made.act(), made.FITTER, screen.job, EntryKind.HANDED_OVER, {"to": "x"})
    assert CARRY_OUT not in screen.words(f"/job/{screen.job}/match?go=1")

    answer = screen.person.client.post(
        form.action, data=form.fields, headers={"Origin": screen.person.address}
    )
    assert answer.status_code in {409, 422}
    assert screen.story.match is None


def test_taken_back_it_plans_nothing(screen):
    screen.choose()
    entry = screen.story.match.id
    screen.shop.withdraw(screen.made.act(), screen.made.FITTER, screen.job, entry, "a slip")
    screen.take()

    assert "Planned by the match" not in screen.words(screen.step())
    assert "The match that was chosen" not in screen.words(f"/job/{screen.job}/match")


def test_the_bench_leads_to_the_match_that_was_chosen(screen):
    assert "The chosen match" not in screen.words(f"/job/{screen.job}")
    screen.choose()

    assert "The chosen match: 0 of 1 done" in screen.words(f"/job/{screen.job}")


def test_the_step_of_matching_says_how_far_it_has_come(screen):
    screen.choose()
    path = screen.step().replace("/set", "/match")

    assert "0 of 1 injectors done All in band" in screen.words(path)


# --- springs --------------------------------------------------------------------------------------


def test_a_spring_is_measured_at_the_inspection(screen):
    screen.take()
    screen.tap(screen.findings(), "Save the finding", length_mm="49,87", length_off_mm="0,02")

    body = (
        screen.story.entries[-1].body if screen.one().spring is None else screen.one().spring.body
    )
    assert (body["seen"], body["severity"]) == ("length measured", "note")
    assert (body["length_mm"], body["length_off_mm"], "load_n" in body) == (49.87, 0.02, False)
    words = screen.words(screen.findings())
    assert "spring: length measured (note); 49.87 ± 0.02 mm free" in words


def test_a_length_that_is_none_is_refused(screen):
    screen.take()
    refused = (
        {"length_mm": "0"},
        {"seen": "length measured"},
        {"length_mm": "50", "length_off_mm": "9"},
    )
    for typed in refused:
        screen.send(screen.form(screen.findings(), "Save the finding"), status=422, **typed)

    assert screen.one().spring is None


def test_a_length_is_put_right(screen):
    screen.take()
    screen.tap(screen.findings(), "Save the finding", length_mm="49.87")
    entry = screen.one().spring.id
    page = f"/job/{screen.job}/story/{entry}"
    screen.tap(page, "Put it right", length_mm="48.87", seen="length measured", severity="note",
               why="misread")  # fmt: skip

    assert screen.one().spring.body["length_mm"] == 48.87


def test_springs_on_the_shelf_are_counted_and_may_change_places(screen):
    assert "No spring has been measured" in screen.words("/springs")
    screen.take()
    screen.tap(screen.findings(), "Save the finding", length_mm="49.95", length_off_mm="0.02")
    assert "Measured springs may change places" not in screen.words(f"/job/{screen.job}/match")
    kind = screen.shop.sheet(screen.story).injector
    screen.tap("/springs", "Put it down", kind=kind, length_mm="50,00", count="2",
               length_off_mm="0.02")  # fmt: skip
    assert "50.00 ± 0.02 mm free 2 there" in screen.words("/springs")

    assert "Measured springs may change places" in screen.words(f"/job/{screen.job}/match")
    more = "?go=1&chosen=1&open=1&springs=1"
    words = screen.words(f"/job/{screen.job}/match{more}")
    assert "The true spread" in words
    form = screen.form(f"/job/{screen.job}/match{more}", CARRY_OUT)
    assert form.fields["springs"] == ["1"]
    screen.send(form)
    assert screen.story.match.body["springs"] is True


def test_the_switch_without_two_springs_says_why(screen):
    words = screen.words(f"/job/{screen.job}/match?go=1&springs=1")

    assert "No two springs of this set were measured under one load." in words


@pytest.mark.parametrize(
    "typed",
    [
        {"length_mm": "x", "count": "1"},
        {"length_mm": "50", "count": ""},
        {"length_mm": "50", "count": "-1"},
        {"length_mm": "50", "count": "1", "load_n": "1e9"},
        {"length_mm": "50", "count": "1", "kind": "another"},
        {},
    ],
)
def test_nonsense_is_not_laid_on_the_shelf(screen, typed):
    form = screen.form("/springs", "Put it down")
    kind = screen.shop.sheet(screen.story).injector
    screen.send(form, status=422, **{"kind": kind, **typed})

    assert screen.shop.spring_shelf() == ()


def test_what_is_said_of_a_spring_stands_at_the_setting(made, match, helper, tmp_path,
                                                        web_settings, serve, browser):  # fmt: skip
    there = match.a_shop(made, helper, tmp_path, web_settings, serve, browser, [196.4], [1.30])
    text = (made.DEMO / "sheet.toml").read_bytes()
    text += b'\n[spring]\nfree_length = "50.0 \xc2\xb1 0.3 mm"\npage = "x"\n'
    sheet = there.shop.add_sheet(made.act(), made.FITTER, text)
    there.job = match.a_job(made, there.shop, sheet, [196.4], [1.30], serial="Q")
    screen = AtTheScreen(there, made, match)
    screen.take()
    assert "Measure the spring" in screen.words(screen.step())
    assert "free length 50 mm ± 0.3 mm" in screen.words(screen.findings())
    screen.tap(screen.findings(), "Save the finding", length_mm="49.2", length_off_mm="0.02")

    words = screen.words(screen.step())

    assert "The spring measures 49.200 ± 0.020 mm free" in words
    assert "It has set" in words
    assert "free length 50 mm ± 0.3 mm" in screen.words(f"/sheets/{sheet}")


# --- the record -----------------------------------------------------------------------------------


def test_the_record_with_choices_and_springs_is_sound(
    made, tmp_path, web_settings, serve, browser, match
):
    opened = open_shop(tmp_path / "shop")
    try:
        bench = made.at_the_bench(opened.workshop, web_settings, serve, browser, rig=True)
        bench.take()
        bench.tested()
        path = f"/job/{bench.job}/match?go=1"
        answer = bench.tap(path, CARRY_OUT)
        assert answer.status_code == 303, answer.text
        kind = opened.workshop.sheet(bench.story).injector
        bench.tap("/springs", "Put it down", kind=kind, length_mm="50", count="1")
        assert chosen_match(bench.story) is not None
        assert verify(opened.store.records, opened.store.evidence, lambda _: None) == []
        # Told anew from the disk it is the same.
        again = create_app(opened.workshop, web_settings)
        assert again is not None
        known = bench.story.match
        opened.workshop._stories.clear()
        assert bench.story.match == known
    finally:
        opened.close()


def test_an_id_of_another_entry_is_not_taken_for_a_choice(screen):
    form = screen.form(f"/job/{screen.job}/match?go=1", CARRY_OUT)
    other = screen.story.entries[-1].id
    assert other != form.fields["form_id"][0]
    form.fields["form_id"] = [str(uuid.UUID(other))] if len(other) == 36 else [other]

    screen.send(form, status=409)

    assert screen.story.match is None
