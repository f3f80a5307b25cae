"""Two servers on one record: the same tap at both is one entry, and the chain holds."""

from __future__ import annotations

import re
import subprocess
import sys
import threading
import uuid
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack

import httpx
import pytest

from nozzlewright.edge.store import verify
from nozzlewright.edge.web.here import COOKIE, Here, to_cookie
from nozzlewright.edge.web.signed import Signer
from nozzlewright.edge.wiring.shop import open_shop

PROGRAM = "import sys; from nozzlewright.edge.cli import main; sys.exit(main())"
ROUNDS = 8


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "a shop für zwei"  # both find nothing there, and make it at the same time


@pytest.fixture
def screens(folder):
    """A screen at each of two programs that serve the same folder."""
    with ExitStack() as stack:
        programs = [
            stack.enter_context(
                subprocess.Popen(
                    [sys.executable, "-c", PROGRAM, "serve", folder, "--port", "0"],
                    stdout=subprocess.PIPE,
                    text=True,
                )
            )
            for _ in range(2)
        ]
        for program in programs:
            stack.callback(program.wait, 120)
            stack.callback(program.terminate)
        found = [re.search(r"http://\S+(?=/)", one.stdout.readline())[0] for one in programs]
        signer = Signer((folder / "screens.key").read_bytes())
        yield [stack.enter_context(_screen(address, signer)) for address in found]


def _screen(address, signer):
    cookies = {COOKIE: to_cookie(Here(who="A. N. Other"), signer), "csrf": uuid.uuid4().hex}
    headers = {"Origin": address, "X-CSRF": signer.mark("csrf", cookies["csrf"])}
    return httpx.Client(base_url=address, cookies=cookies, headers=headers, timeout=120.0)


def at_once(*acts):
    start = threading.Barrier(len(acts))

    def run(act):
        start.wait(60)
        return act()

    with ThreadPoolExecutor(len(acts)) as pool:
        return [one.result() for one in [pool.submit(run, act) for act in acts]]


def booking(form_id, engine):
    return {"form_id": form_id, "engine": engine, "cylinders": "2", "condition": "used"}


def test_the_same_tap_at_two_servers_is_one_entry_and_the_chain_holds(folder, screens):
    first, second = screens
    for number in range(ROUNDS):
        same = booking(str(uuid.uuid4()), f"invented {number}")
        own = [booking(str(uuid.uuid4()), f"own {number} {place}") for place in "ab"]
        answers = at_once(
            lambda same=same: first.post("/book-in", data=same),
            lambda same=same: second.post("/book-in", data=same),
            lambda own=own: first.post("/book-in", data=own[0]),
            lambda own=own: second.post("/book-in", data=own[1]),
        )
        assert {answer.status_code for answer in answers} == {303}, [one.text for one in answers]
        assert answers[0].headers["location"] == answers[1].headers["location"]
        assert len({answer.headers["location"] for answer in answers}) == 3
        # What was noted at one is seen at the other, whatever it has kept in mind.
        for at, other in ((first, answers[3]), (second, answers[2])):
            assert at.get(other.headers["location"]).status_code == 200

    shop = open_shop(folder)
    assert len(shop.workshop.records.jobs()) == 3 * ROUNDS
    assert verify(shop.store.records, shop.store.evidence, lambda _: None) == []
    shop.close()
