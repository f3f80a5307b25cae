"""A workshop with a set booked in, and somebody at the screen who fills in its forms."""

from __future__ import annotations

import io
import uuid
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

from PIL import Image

from nozzlewright.edge.web.app import create_app
from nozzlewright.records import EntryKind
from nozzlewright.workflow import NewTest

DEMO = Path(__file__).parents[3] / "demo" / "six-in-line"
FITTER, OTHER = "A. N. Other", "S. O. Else"


def act() -> str:
    return str(uuid.uuid4())


@dataclass
class FormThere:
    """A form of a page, with what it would send untouched."""

    action: str
    fields: dict[str, list[str]] = field(default_factory=dict)
    buttons: list[str] = field(default_factory=list)


class _Forms(HTMLParser):
    def __init__(self):
        super().__init__()
        self.forms, self._in_button, self._text_of = [], False, ""

    def handle_starttag(self, tag, attrs):
        of = dict(attrs)
        if tag == "form":
            self.forms.append(FormThere(of.get("action", "")))
        if not self.forms:
            return
        fields = self.forms[-1].fields
        if tag == "button":
            self.forms[-1].buttons.append("")
            self._in_button = True
        name = of.get("name")
        if tag == "input" and name and of.get("type") not in {"radio", "checkbox", "file"}:
            fields.setdefault(name, []).append(of.get("value") or "")
        if tag == "input" and name and "checked" in of:
            fields.setdefault(name, []).append(of.get("value") or "")
        if tag == "textarea" and name:
            fields.setdefault(name, []).append("")

    def handle_endtag(self, tag):
        if tag == "button":
            self._in_button = False

    def handle_data(self, data):
        if self._in_button and self.forms[-1].buttons:
            self.forms[-1].buttons[-1] += data


def forms_of(html: str) -> list[FormThere]:
    reader = _Forms()
    reader.feed(html)
    return reader.forms


@dataclass
class AtTheBench:
    """The workshop, its job, and a person at the screen."""

    shop: object
    job: str
    browser: object
    app: object

    @property
    def story(self):
        return self.shop.story(self.job)

    def one(self, cylinder=1):
        return self.story.at_cylinder(cylinder)

    def path(self, cylinder=1, more=""):
        return f"/job/{self.job}/injector/{self.one(cylinder).injector}{more}"

    def step(self, key, cylinder=1):
        return self.path(cylinder, f"/step/{key}")

    def get(self, path, status=200):
        answer = self.browser.get(path)
        assert answer.status_code == status, answer.text
        return answer.text.replace("\N{NO-BREAK SPACE}", " ")

    def form(self, path, button) -> FormThere:
        """Return the form of a page whose button bears these words."""
        forms = forms_of(self.get(path))
        found = [one for one in forms if any(button in words for words in one.buttons)]
        assert found, [one.buttons for one in forms]
        return found[0]

    def tap(self, path, button, files=None, **typed):
        """Fill in the form with this button, and send it."""
        return self.send(self.form(path, button), files, **typed)

    def send(self, form: FormThere, files=None, **typed):
        return self.browser.client.post(
            form.action,
            data={**form.fields, **typed},
            files=files,
            headers={"Origin": self.browser.address},
        )

    def saved(self, answer):
        """Follow an answer to the page that it leads to."""
        assert answer.status_code == 303, answer.text
        return self.get(answer.headers["location"])

    def last(self, kind=None):
        """Return the last entry of the job, or the last of a kind."""
        return [e for e in self.story.entries if kind in (None, e.kind)][-1]

    # -- short ways past steps that a test is not about

    def note(self, kind, body=None, cylinder=1, done=""):
        return self.shop.note(
            act(),
            FITTER,
            self.job,
            kind,
            body or {},
            injector=self.one(cylinder).injector,
            done=done,
        )

    def take(self, cylinder=1):
        return self.note(EntryKind.TAKEN_IN_HAND, cylinder=cylinder)

    def tested(self, cylinder=1, step="as-found", recording="2-found.parquet", **seen):
        path = DEMO / "recordings" / recording
        digest = self.shop.evidence.keep(path.read_bytes(), path.name.partition(".")[2])
        new = NewTest(step, digest, seen=seen)
        injector = self.one(cylinder).injector
        return self.shop.test(act(), FITTER, self.job, injector, new, done=step)

    def stripped(self, cylinder=1):
        if self.story.in_hand != self.one(cylinder).injector:
            self.take(cylinder)
        injector = self.one(cylinder).injector
        seen = {"no_result": "needle seized"}
        self.shop.see(act(), FITTER, self.job, injector, seen, done="as-found")
        return self.note(EntryKind.STRIPPED, {"pair": self.one(cylinder).pair}, cylinder)

    def assembled(self, cylinder=1):
        self.stripped(cylinder)
        return self.note(EntryKind.ASSEMBLED, {"pair": self.one(cylinder).pair}, cylinder)


def at_the_bench(shop, settings, serve, browser, cylinders=3, rig=False):
    """Book a set in, tag all but its last injector, and sit down at the screen."""
    for name in (FITTER, OTHER):
        shop.add_person(act(), name, name)
    if rig:
        blank = shop.evidence.keep((DEMO / "recordings" / "blank-plug.csv").read_bytes(), "csv")
        conditions = (DEMO / "bench.toml").read_bytes()
        conditions = conditions.replace(
            b'recording = "recordings/blank-plug.csv"', b'recording = "blank.csv"'
        )
        shop.check_rig(act(), FITTER, conditions, blank=blank)
    sheet = shop.add_sheet(act(), FITTER, (DEMO / "sheet.toml").read_bytes())
    booked = {
        "title": "invented set",
        "engine": "invented engine",
        "customer": "invented customer",
        "cylinders": cylinders,
        "condition": "used",
        "symptoms": {"2": "knocks"},
        "sheet": sheet,
        "invented": True,
    }
    job = shop.book_in(act(), OTHER, booked)
    for cylinder in range(1, cylinders):
        shop.tag(act(), OTHER, job, cylinder, f"D-10{cylinder}", shim_mm=1.3)
    app = create_app(shop, settings)
    person = browser(serve(app))
    assert person.send("/settings", new_name=FITTER).status_code == 303
    return AtTheBench(shop, job, person, app)


def photo(kind="JPEG", **options) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (80, 60), (120, 60, 30)).save(file, kind, **options)
    return file.getvalue()
