"""What the first visits after a start would wait for, done while nobody waits.

The rigs are understood, templates compiled, what is slow to import is imported, what the jobs in
hand teach about their settings is learned, and the cases that were settled are read. None of it is
needed: whoever comes first gets the same answer, only later.
"""

from __future__ import annotations

import logging
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from threading import Event, Thread

from fastapi import FastAPI

from nozzlewright.edge.web import page
from nozzlewright.edge.web.screens import rig
from nozzlewright.edge.web.screens.jobs import OPEN
from nozzlewright.errors import NozzlewrightError
from nozzlewright.workflow import Workshop

JOBS = 12
"""Jobs in hand whose settings are learned beforehand."""
AFTER_S = 0.2
"""Time in which the server itself comes up."""
TURN_S = 0.0005
"""Longest time that an answer waits for its turn while this is being done, [s]."""
_log = logging.getLogger(__name__)


@contextmanager
def beforehand(app: FastAPI) -> Iterator[Thread]:
    """Do it beside the answers; what is not done when the block is left is let be."""
    enough = Event()
    page.environment_of(app)
    thread = Thread(target=understand, args=(app, enough), name="beforehand", daemon=True)
    thread.start()
    try:
        yield thread
    finally:
        enough.set()
        thread.join()


def understand(app: FastAPI, enough: Event) -> None:
    """Do it now. What cannot be done is left for the page that needs it, which says why."""
    if enough.wait(AFTER_S):
        return
    with _giving_way():
        for do in _parts(app):
            if enough.is_set():
                return
            try:
                do()
            except NozzlewrightError as fault:
                _log.info("not understood beforehand: %s", fault)


@contextmanager
def _giving_way() -> Iterator[None]:
    """Let an answer have its turn sooner: it asks for it after each word with the store."""
    usual = sys.getswitchinterval()
    sys.setswitchinterval(min(TURN_S, usual))
    try:
        yield
    finally:
        sys.setswitchinterval(usual)


def _parts(app: FastAPI) -> Iterator[Callable[[], object]]:
    shop: Workshop = app.state.workshop
    yield from rig.to_understand(shop)
    yield _import_slow
    environment = page.environment_of(app)
    for name in environment.list_templates(extensions=["html"]):
        yield partial(environment.get_template, name)
    for row in shop.records.jobs(state=OPEN, limit=JOBS):
        yield partial(_learn_settings, shop, row.job)
    yield shop.causes.closed


def _learn_settings(shop: Workshop, job: str) -> None:
    shop.setting_known(shop.story(job))


def _import_slow() -> None:
    import scipy.special  # noqa: F401
