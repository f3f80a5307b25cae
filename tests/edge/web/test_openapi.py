"""Every route, with input that nobody would think of: no fault of the program on any.

The forms' fields are not in the schema, since a form is read as it was sent. They are taken from
the pages on which the forms stand, and put into the schema that the tests are drawn from.
"""

from __future__ import annotations

import inspect
import re
from collections import defaultdict
from contextlib import ExitStack
from copy import deepcopy
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import httpx
import pytest
import schemathesis
from fastapi.routing import APIRoute
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.config import SchemathesisConfig
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    status_code_conformance,
)

from nozzlewright.edge.store import verify
from nozzlewright.edge.web.app import SCREENS_PACKAGE, WebSettings, create_app
from nozzlewright.edge.web.guard import HEADERS
from nozzlewright.edge.web.here import COOKIE, Here, to_cookie
from nozzlewright.edge.web.screens import SCREENS
from nozzlewright.edge.web.signed import Signer
from nozzlewright.edge.wiring.shop import open_shop

EXAMPLES = 10
"""Of each kind and address: all of them in well under a minute on two quiet cores."""
FORM = "application/x-www-form-urlencoded"
UPLOAD = "multipart/form-data"
pytestmark = pytest.mark.filterwarnings("ignore:Generating overly large repr")
"""Where a draw is turned down, hypothesis writes out what it drew from: a whole form."""


def _fields_of(route, forms, known):
    """Return the fields that an address reads, with values that they may have.

    They are those of the forms that go there, and those that its module asks a form for: some
    forms stand only on pages seen after something else, as a recording that was cut short.
    """
    found = [form for form in forms if route.path_regex.fullmatch(form.action.partition("?")[0])]
    fields = defaultdict(set)
    for form in found:
        for name, values in form.fields.items():
            fields[name] |= values
    fields.pop("csrf", None)
    source = inspect.getsource(inspect.getmodule(route.endpoint))
    words = set(re.findall(r'"([a-z][a-z -]{0,19})"', source))
    for name in re.findall(r'(?:form|act)\.\w+\(\s*"(\w+)"', source):
        fields[name] |= words if not fields[name] else set()
    for name, values in fields.items():
        values |= known.get(name, set())
    return dict(fields), any(form.takes_files for form in found)


def _with_body(operation, fields, *, files):
    schema = {
        "type": "object",
        "properties": {name: {"type": "string"} for name in sorted(fields)},
    }
    content = {UPLOAD if files else FORM: {"schema": schema}}
    return {**operation, "requestBody": {"required": False, "content": content}}


TYPED = (
    "",
    "1",
    "2",
    "12,5",
    "175",
    "-3",
    "1e400",
    "nan",
    "\u0663",
    "two",
    "yes",
    "\u202e",
    "a" * 3000,
)
"""What somebody may type into any field, by mistake or on purpose."""


@st.composite
def _cases(draw, operation, fields, known):
    """Draw a request: nearly as a person would send it, or as a schema's drawer makes it up."""
    modes = [GenerationMode.POSITIVE]
    if operation.body or operation.path_parameters or operation.query:
        modes.append(GenerationMode.NEGATIVE)
    case = draw(operation.as_strategy(generation_mode=draw(st.sampled_from(modes))))
    for there in (case.path_parameters, case.query):
        if isinstance(there, dict):
            for name in there:
                if name in known and draw(st.integers(0, 5)):
                    there[name] = draw(st.sampled_from(sorted(known[name])))
    if fields is not None and draw(st.integers(0, 5)):
        sent = {}
        for name, values in fields.items():
            wild = draw(st.integers(0, 9)) == 0
            sent[name] = draw(st.sampled_from(TYPED if wild or not values else sorted(values)))
        sent["form_id"] = str(draw(st.uuids()))
        case.body = sent
    return case


@dataclass
class Site:
    """A served shop with a set on the bench, a rig, a sheet and a live gauge."""

    address: str
    store: Any
    entries_before: int
    fields: dict[str, dict[str, set[str]]]
    """Of the forms, by the address that they go to."""
    known: dict[str, set[str]]
    cookies: dict[str, str]
    headers: dict[str, str]
    api: Any

    def send(self, case):
        return case.call(
            base_url=self.address,
            headers=self.headers,
            cookies=self.cookies,
            allow_redirects=False,
            timeout=120.0,
        )


@pytest.fixture(scope="module")
def site(tmp_path_factory, web_settings, helper):
    gauge = helper("edge/web/gauge_shop.py")
    signer = Signer(web_settings.secret)
    cookies = {COOKIE: to_cookie(Here(who="A. N. Other"), signer), "csrf": "c" * 32}
    with ExitStack() as stack:
        opened = open_shop(tmp_path_factory.mktemp("api") / "shop")
        stack.callback(opened.close)
        folder = tmp_path_factory.mktemp("recordings")
        made = stack.enter_context(gauge.gauge_shop(opened.workshop, web_settings, folder))
        address = stack.enter_context(helper("edge/web/conftest.py").serving(made.app))
        stack.callback(_end_practices, made.app)
        headers = {"Origin": address, "X-CSRF": signer.mark("csrf", "c" * 32)}
        with httpx.Client(
            base_url=address, headers=headers, cookies=cookies, timeout=120.0
        ) as client:
            forms = helper("edge/web/forms_found.py").forms_found(client, _pages(made))
        known, fields, raw = _known(made), {}, deepcopy(made.app.openapi())
        for route in _routes():
            operations = raw["paths"][route.path]
            if "POST" in route.methods and "requestBody" not in operations["post"]:
                fields[route.path], files = _fields_of(route, forms, known)
                operations["post"] = _with_body(operations["post"], fields[route.path], files=files)
        config = SchemathesisConfig.from_dict({"seed": 1, "generation": {"deterministic": True}})
        api = schemathesis.openapi.from_dict(raw, config=config)
        entries, _ = opened.store.records.head()
        yield Site(address, opened.store, entries, fields, known, cookies, headers, api)


def _end_practices(app):
    room = getattr(app.state, "practice", None)
    if room is not None:
        room.close()


def _pages(made):
    page = f"/job/{made.job}/injector/{made.one().injector}"
    steps = [step.key for step in made.shop.steps(made.shop.story(made.job))]
    return [
        *("/", "/book-in", "/sheets", "/sheets/new", "/rig", "/rig/blank", "/practice"),
        f"/job/{made.job}",
        f"{page}/findings?part=needle",
        f"{page}/gauge?how=hand",
        f"{page}/gauge?step=seat",
        f"/job/{made.job}/sheet",
        f"/job/{made.job}/running-check",
        *(f"/job/{made.job}/story/{entry.id}" for entry in made.shop.story(made.job).entries),
        *(f"{page}/step/{key}" for key in steps),
    ]


def _known(made):
    """Return names that lead somewhere, by parameter."""
    story = made.shop.story(made.job)
    steps = {step.key for step in made.shop.steps(story)}
    entries = {entry.id for entry in story.entries}
    return {
        "job": {made.job},
        "injector": set(story.injectors),
        "digest": {made.shop.sheets()[0].digest, made.shop.rig().conditions},
        "entry": entries,
        "saved": entries,
        "key": steps,
        "step": steps,
        "bench": {made.bench.name},
        "how": {"hand"},
    }


def _routes():
    for name in SCREENS:
        for route in import_module(f"{SCREENS_PACKAGE}.{name}").router.routes:
            if isinstance(route, APIRoute):
                yield route


def _addresses():
    raw = create_app(None, WebSettings(secret=bytes(32))).openapi()
    return [(path, method) for path, methods in raw["paths"].items() for method in methods]


def _send_all(site, path, method):
    operation = site.api[path][method]
    cases = _cases(operation, site.fields.get(path) if method == "post" else None, site.known)

    @settings(
        max_examples=EXAMPLES,
        derandomize=True,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(case=cases)
    def sent(case):
        answer = site.send(case)
        case.validate_response(
            answer,
            checks=[not_a_server_error, status_code_conformance, content_type_conformance],
        )
        assert answer.headers["content-security-policy"] == [HEADERS["Content-Security-Policy"]]
        assert "Traceback" not in answer.text

    sent()


@pytest.mark.parametrize(("path", "method"), _addresses())
def test_no_input_is_a_fault_of_the_program(site, path, method):
    _send_all(site, path, method)


def test_acts_were_among_what_was_sent_and_the_record_is_sound(site):
    # Whichever tests ran before on this very site: with several workers, perhaps none.
    for path, method in _addresses():
        if site.store.records.head()[0] > site.entries_before:
            break
        if method == "post":
            _send_all(site, path, method)
    assert site.store.records.head()[0] > site.entries_before
    assert verify(site.store.records, site.store.evidence, lambda _: None) == []


def test_every_act_was_sent_fields_that_it_reads(site):
    assert all(len(fields) > 1 for fields in site.fields.values())
