"""What first visits would wait for is done before them, and never in the way of the end."""

from __future__ import annotations

import subprocess
import sys
from threading import Event

import pytest

from nozzlewright.edge.web import page
from nozzlewright.edge.web.app import create_app
from nozzlewright.edge.web.beforehand import beforehand, understand


@pytest.fixture
def desk(helper):
    return helper("edge/web/front_shop.py")


@pytest.fixture
def front(desk, tmp_path, web_settings, serve, browser):
    one = desk.front(tmp_path, web_settings, serve, browser)
    yield one
    one.shop.close()


@pytest.fixture
def app(front, web_settings):
    return create_app(front.workshop, web_settings)


def test_templates_rigs_and_settings_are_understood_before_the_first_visit(front, app):
    front.check_rig()
    front.book(sheet=front.add_sheet())
    understand(app, Event())
    environment = page.environment_of(app)
    names = environment.list_templates(extensions=["html"])
    assert len(names) > 40
    before = {name: environment.get_template(name) for name in names}
    assert "The rig today" in front.get("/rig")
    assert {name: environment.get_template(name) for name in names} == before
    assert "scipy.special" in sys.modules


def test_a_card_that_is_gone_stops_nothing(front, app):
    front.check_rig()
    digest = front.workshop.rig().conditions
    for file in front.workshop.evidence.folder.rglob(f"{digest[2:]}*"):
        file.unlink()
    understand(app, Event())
    assert "The rig today" in front.get("/rig")


def test_the_end_waits_for_no_more_than_the_part_that_is_being_done(front, app):
    front.check_rig()
    with beforehand(app) as thread:
        assert thread.is_alive()
    assert not thread.is_alive()


def test_a_command_that_serves_nothing_understands_nothing():
    code = (
        "import sys; from nozzlewright.edge.cli import main\n"
        "try: main(['rig', '--help'])\n"
        "except SystemExit: pass\n"
        "print('jinja2' in sys.modules, 'scipy' in sys.modules)"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.splitlines()[-1] == "False False"


def test_answers_have_their_turn_sooner_only_while_it_is_done(app, monkeypatch):
    usual, seen = sys.getswitchinterval(), []
    workshop = app.state.workshop
    heads = workshop.records.head
    monkeypatch.setattr(
        workshop.records, "head", lambda: seen.append(sys.getswitchinterval()) or heads()
    )
    understand(app, Event())
    assert seen
    assert max(seen) < usual
    assert sys.getswitchinterval() == usual


def test_closed_cases_are_read_beforehand(front, app, monkeypatch):
    front.check_rig()
    asked = []
    records, of_stories = front.workshop.records, front.workshop.records.of_stories
    monkeypatch.setattr(
        records, "of_stories", lambda *what: asked.append(what) or of_stories(*what)
    )
    understand(app, Event())
    assert asked
    count = len(asked)
    assert "<h1" in front.get("/causes")
    assert len(asked) == count
