"""One module for each screen.

How a screen is made
--------------------
``screens/NAME.py`` has ``router = APIRouter()``; its pages are ``templates/NAME.html`` (parts:
``NAME_part.html``); its script, if it needs one, ``static/NAME.js`` (an ES module), its own rules
``static/NAME.css``. Add NAME to :data:`SCREENS`. ::

    from typing import Annotated
    from fastapi import APIRouter, Request
    from starlette.responses import Response
    from nozzlewright.edge.web import page
    from nozzlewright.edge.web.texts import _

    router = APIRouter()

    @router.get("/jobs/{job}/weight")
    def show(request: Request, job: str) -> Response:
        return page.render(request, "weight.html", job=job)

    @router.post("/jobs/{job}/weight")
    def note(request: Request, job: str, form: page.Sent) -> Response:
        opening_pa = form.pressure_pa("opening")          # in the screen's unit, comma allowed
        remark = form.text("remark", needed=_("the remark is empty"))
        form.check()                                      # raises all faults together
        request.app.state.workshop.note(form.id, ...)     # form.id = Draft.id: a repeated tap
        return page.back_to(request, f"/jobs/{job}", flash=_("Saved"))

``weight.html``::

    {% extends "base.html" %}
    {% import "macros.html" as m %}
    {% block title %}{% trans %}Weight{% endtrans %}{% endblock %}
    {% block main %}
    {% call m.form("/jobs/" ~ job ~ "/weight", csrf, request) %}
      {{ m.big_input("opening", _("Opening pressure"), unit=unit_spelling()) }}
      {{ m.button(_("Save")) }}
    {% endcall %}
    {% endblock %}

Rules
-----
- Endpoints are plain ``def`` (they run in a thread: the store blocks); ``async def`` only for
  WebSockets and streams. Raise ``NozzlewrightError``: the page of the form comes back with what was
  typed and the fault beside the field whose name stands in ``Fault.where`` (so names of fields are
  unique on a page). Never catch to show. For data under ``/api/`` return a dict.
- ``who`` is ``page.here(request).who``; empty: ``page.needs_person(request)`` sends to Settings.
- No inline script, no ``style=``, no ``on...=``: the policy forbids them. A script gets its words
  from the page: ``{{ m.texts(ready=_("Ready")) }}`` once in ``{% block scripts %}``, then
  ``import { texts } from "/static/page.js"``. So every text stands in a template or in Python.
- A POST by script sends header ``X-CSRF`` (``import { post } from "/static/page.js"``). A WebSocket
  is checked by its Origin alone. An endpoint for files: ``@takes_uploads()`` from ``guard`` under
  the router's decorator, ``m.form(..., files=true)``, and ``form.files["photo"]``.
- Filters: ``|pressure`` (Pa or Quantity), ``|pressure_number``, ``|seconds``, ``|when``,
  ``|when("day")``, ``|said`` for whatever an inner layer said (verdicts, reasons, cautions).
- State is a word with a shape, never a colour: ``m.state_chip("pass", _("pass"))``; shapes in
  ``static/shapes.svg``. Sizes and colours come from ``tokens.css`` only; parts and classes are in
  ``macros.html`` and ``base.css`` (``sheet``, ``cards``, ``split``, ``row``, ``facts``,
  ``figures``, ``steps``, ``injectors``, ``buttons``, ``no-print``; the whole width of the screen
  with ``{% block body_class %}wide{% endblock %}``).
- A caution with pressure on a nozzle: ``m.caution(words, jet=true)``.
- Texts: ``_("...")``, ``{% trans %}``; German goes into ``locale/de``; ``make texts`` takes new
  texts up. A test fails while a text lacks its translation: do it last.
"""

SCREENS: tuple[str, ...] = (
    "jobs",
    "book_in",
    "sheets",
    "rig",
    "rig_card_form",
    "bench",
    "step",
    "findings",
    "story",
    "injector",
    "health",
    "settings",
    "gauge",
    "practice",
    "set",
    "match",
    "hand_over",
    "causes",
    "sums",
    "budget",
    "certificate",
    "dead_weight",
    "study",
    "drawer",
    "springs",
)
"""Screens that the application takes up, in the order in which their addresses are tried."""
