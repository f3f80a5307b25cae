"""What every screen stands on: guard, forms, faults, settings, over a real server."""

from __future__ import annotations

import asyncio
import os
import re
import signal
import socket
import subprocess
import sys
import timeit
import uuid
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import pytest
import websockets
from fastapi import APIRouter, Request, UploadFile, WebSocket

from nozzlewright.edge.web import page
from nozzlewright.edge.web.app import create_app
from nozzlewright.edge.web.guard import BODY_LIMIT, MIB, takes_uploads
from nozzlewright.edge.web.here import Here, from_cookie, to_cookie
from nozzlewright.edge.web.serve import serve as serve_until_ended
from nozzlewright.edge.web.signed import Signer, secret_of
from nozzlewright.errors import (
    Fault,
    InputFault,
    InstrumentFault,
    NotAllowed,
    SheetFault,
    StoryMoved,
)


class People:
    """Of a workshop, what the settings ask for."""

    def __init__(self) -> None:
        self.names: dict[str, str] = {}

    def people(self) -> list[str]:
        return sorted(self.names.values())

    def add_person(self, id: str, _who: str, name: str) -> None:  # noqa: A002  (as the workshop)
        self.names[id] = name


def _trials() -> APIRouter:
    """Return endpoints that do what a screen may do."""
    router = APIRouter()
    faults = {
        "sheet": SheetFault(Fault("no limit is given", "line 7", "Write one from the sheet")),
        "instrument": InstrumentFault("the gauge does not answer at COM3"),
        "allowed": NotAllowed("the pair would be mixed", "Fit the needle to its own nozzle"),
        "moved": StoryMoved("4 is not 3"),
        "own": ZeroDivisionError("secret particulars"),
    }

    @router.get("/trial/{kind}")
    def fail(kind: str) -> None:
        raise faults[kind]

    @router.post("/trial/{kind}")
    def fail_after_a_form(kind: str, form: page.Sent) -> None:
        raise faults[kind]

    @router.get("/api/trial/{kind}")
    def fail_as_data(kind: str) -> None:
        raise faults[kind]

    @router.post("/api/count")
    def count(body: dict[str, int]) -> dict[str, int]:
        return {"count": len(body)}

    @router.post("/photo")
    @takes_uploads(2 * MIB)
    def photo(request: Request, photo: UploadFile) -> dict[str, int]:
        return {"size": len(photo.file.read())}

    @router.post("/plain")
    def plain(request: Request, photo: UploadFile) -> dict[str, int]:
        return {"size": len(photo.file.read())}

    @router.get("/number/{number}")
    def number(number: int) -> dict[str, int]:
        return {"number": number}

    @router.post("/readings")
    def readings(form: page.Sent) -> dict[str, float | str]:
        found = {
            "id": form.id,
            "opening_pa": form.pressure_pa("opening"),
            "drop_s": form.seconds("drop"),
            "grade": form.choice("grade", ("dry", "damp")),
        }
        form.check()
        return found

    @router.websocket("/live")
    async def live(websocket: WebSocket) -> None:
        await websocket.accept()
        await websocket.send_text("here")
        await websocket.close()

    return router


@pytest.fixture
def people():
    return People()


@pytest.fixture
def address(serve, web_settings, people):
    app = create_app(people, web_settings)
    app.include_router(_trials())
    return serve(app)


@pytest.fixture
def bench(address, browser):
    return browser(address)


# -- headers and who may ask -----------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/settings", "/nothing-here", "/static/base.css", "/trial/own"])
def test_every_answer_forbids_what_a_page_of_ours_never_does(bench, path):
    headers = bench.get(path).headers
    policy = headers["content-security-policy"]

    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["cross-origin-opener-policy"] == "same-origin"
    assert "geolocation=()" in headers["permissions-policy"]


def test_a_browser_that_asks_for_the_old_icon_gets_the_mark(bench):
    answer = bench.get("/favicon.ico")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "image/svg+xml"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.content == (page.STATIC / "drawings" / "mark.svg").read_bytes()


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("127.0.0.1:80", 200),
        ("localhost", 200),
        ("[::1]:9", 200),
        ("rebound.example", 403),
        ("192.168.0.7", 403),
        ("localhost.rebound.example", 403),
        ("[not", 403),
        ("", 403),
    ],
)
def test_a_foreign_name_that_leads_to_this_machine_is_refused(bench, host, status):
    assert bench.get("/health", headers={"Host": host}).status_code == status


def test_a_form_from_a_page_of_ours_is_taken(bench):
    sent = bench.send("/settings", new_name="Ada Example")

    assert sent.status_code == 303
    assert "Ada Example" in bench.get("/settings").text


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
    ids=str,
)
def test_a_form_from_elsewhere_is_refused_even_with_our_token(bench, people, headers):
    token = bench.token()
    if "Sec-Fetch-Site" in headers:
        headers = {**headers, "Origin": bench.address}

    sent = bench.client.post(
        "/settings", data={"csrf": token, "new_name": "Mallory"}, headers=headers
    )

    assert sent.status_code == 403
    assert people.names == {}


@pytest.mark.parametrize("token", ["", "wrong"])
def test_a_form_without_our_token_is_refused_and_comes_back(bench, people, token):
    sent = bench.send("/settings", new_name="Mallory", csrf=token)

    assert sent.status_code == 403
    assert people.names == {}
    assert "send it once more" in sent.text


def test_a_token_belongs_to_one_browser(bench, browser, people):
    other = browser(bench.address)
    other.get("/settings")

    assert other.send("/settings", new_name="Mallory", csrf=bench.token()).status_code == 403
    assert people.names == {}


def test_what_a_script_sends_carries_the_token_in_a_header(bench):
    headers = {"Origin": bench.address, "X-CSRF": bench.token()}

    assert bench.client.post("/api/count", json={"a": 1}, headers=headers).json() == {"count": 1}
    headers.pop("X-CSRF")
    refused = bench.client.post("/api/count", json={"a": 1}, headers=headers)
    assert refused.status_code == 403
    assert refused.json()["error"]["message"] == "Please send it once more"


def test_the_live_line_opens_to_pages_of_ours_alone(address):
    url = address.replace("http", "ws") + "/live"

    async def first(origin: str) -> str:
        async with websockets.connect(url, origin=origin) as line:
            return str(await line.recv())

    assert asyncio.run(first(address)) == "here"
    for origin in ("http://elsewhere.example", None):
        with pytest.raises(websockets.InvalidStatus) as refused:
            asyncio.run(first(origin))
        assert refused.value.response.status_code == 403


# -- how much may be sent --------------------------------------------------------------------------


@pytest.mark.parametrize(("path", "limit"), [("/plain", BODY_LIMIT), ("/photo", 2 * MIB)])
def test_more_than_an_endpoint_takes_is_refused_while_it_is_sent(bench, path, limit):
    headers = {"Origin": bench.address, "X-CSRF": bench.token()}

    def send(size: int):
        return bench.client.post(path, files={"photo": bytes(size)}, headers=headers)

    assert send(limit - 1000).json() == {"size": limit - 1000}
    refused = send(limit + 1)
    assert refused.status_code == 413
    assert "too large" in refused.text
    assert f"at most {limit // MIB} MB" in refused.text


def test_the_size_is_counted_also_where_the_sender_does_not_state_it(bench):
    headers = {"Origin": bench.address, "X-CSRF": bench.token(), "Content-Type": "application/json"}
    pieces = (b" " * 65536 for _ in range(BODY_LIMIT // 65536 + 1))

    assert bench.client.post("/api/count", content=pieces, headers=headers).status_code == 413


# -- faults ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "status", "words"),
    [
        ("sheet", 422, ["no limit is given", "Write one from the sheet", "line 7"]),
        ("instrument", 422, ["the gauge does not answer at COM3"]),
        ("allowed", 409, ["the pair would be mixed", "Fit the needle to its own nozzle"]),
        ("moved", 409, ["Somebody else has noted something"]),
    ],
)
def test_a_fault_is_told_in_words_with_a_way_on(bench, kind, status, words):
    shown = bench.get(f"/trial/{kind}")

    assert shown.status_code == status
    for word in words:
        assert word in shown.text
    assert 'href="/"' in shown.text


def test_a_fault_of_the_program_is_a_reference_and_never_a_traceback(bench, caplog):
    shown = bench.get("/trial/own")

    assert shown.status_code == 500
    assert "Traceback" not in shown.text
    assert "secret particulars" not in shown.text
    reference = re.search(r'<dd class="reading">(\w{8})</dd>', shown.text)[1]
    logged = [record for record in caplog.records if reference in record.getMessage()]
    assert logged
    assert "secret particulars" in str(logged[0].exc_info[1])


def test_an_unknown_address_is_a_page_with_a_way_back(bench):
    shown = bench.get("/no/such", headers={"Referer": f"{bench.address}/settings"})

    assert shown.status_code == 404
    assert 'href="/settings"' in shown.text
    elsewhere = bench.get("/no/such", headers={"Referer": "http://elsewhere.example/settings"})
    assert 'class="button main" href="/settings"' not in elsewhere.text


@pytest.mark.parametrize(
    ("path", "status", "kind"),
    [
        ("/api/trial/sheet", 422, "SheetFault"),
        ("/api/trial/allowed", 409, "NotAllowed"),
        ("/api/trial/moved", 409, "StoryMoved"),
        ("/api/trial/own", 500, "Internal"),
        ("/api/none", 404, "HTTP"),
    ],
)
def test_a_program_that_asks_is_told_faults_as_data(bench, path, status, kind):
    answer = bench.get(path)

    assert answer.status_code == status
    error = answer.json()["error"]
    assert error["kind"] == kind
    assert error["message"]
    assert all(set(one) == {"what", "where", "remedy"} for one in error["faults"])
    assert "secret" not in answer.text


def test_a_page_asked_for_as_data_tells_its_faults_as_data(bench):
    answer = bench.get("/trial/sheet", headers={"Accept": "application/json"})

    assert answer.json()["error"]["faults"][0]["what"] == "no limit is given"


def test_a_number_in_an_address_that_is_none_is_a_page(bench):
    shown = bench.get("/number/seven")

    assert shown.status_code == 422
    assert "Something needs mending" in shown.text
    assert bench.get("/number/7").json() == {"number": 7}


# -- forms -----------------------------------------------------------------------------------------


def test_a_form_that_cannot_be_taken_comes_back_with_what_was_typed(bench):
    shown = bench.send("/settings?then=/settings", "/trial/sheet", new_name="Ada <Example>")

    assert shown.status_code == 422
    assert "Settings of this screen" in shown.text
    assert 'value="Ada &lt;Example&gt;"' in shown.text
    assert "no limit is given" in shown.text
    assert re.search(r'name="form_page"\s+value="/settings\?then=/settings"', shown.text)


def test_what_the_trade_forbids_leaves_the_form_as_it_was(bench):
    shown = bench.send("/settings", "/trial/allowed", new_name="Ada", theme="dark")

    assert shown.status_code == 409
    assert "the pair would be mixed" in shown.text
    assert re.search(r'value="dark" checked', shown.text)
    assert re.search(r'value="Ada"', shown.text)


def test_a_form_sent_from_nowhere_still_gets_a_page_that_keeps_its_words(bench):
    sent = bench.send("/settings", "/trial/sheet", form_page="//else.where/", new_name="Ada")

    assert sent.status_code == 422
    assert "Nothing was written" in sent.text
    assert "<dd>Ada</dd>" in sent.text


def test_the_fault_of_a_field_stands_beside_it(bench):
    shown = bench.send("/settings", language="xx", theme="light")

    assert shown.status_code == 422
    assert re.search(r'<fieldset[^>]*id="language"[^>]*aria-invalid="true"', shown.text)
    assert 'id="fault-language-1"' in shown.text
    assert '<a href="#language"><strong>nothing has been chosen</strong></a>' in shown.text
    assert re.search(r'value="light" checked', shown.text)


def test_all_faults_of_a_form_are_told_together(bench):
    sent = bench.send("/settings", "/readings", opening="17O", drop="", grade="wet")
    assert sent.status_code == 422
    assert sent.text.count("<li>") >= 3

    taken = bench.send("/settings", "/readings", opening="174,5", drop="6.2 s", grade="dry")
    assert taken.json()["opening_pa"] == 174.5e5
    assert taken.json()["drop_s"] == 6.2
    assert uuid.UUID(taken.json()["id"])


def test_each_form_has_an_id_of_its_own(bench):
    ids = {
        re.search(r'name="form_id" value="([^"]+)"', bench.get("/settings").text)[1]
        for _ in range(3)
    }

    assert len({uuid.UUID(one) for one in ids}) == 3
    assert bench.send("/settings", "/readings", form_id="7", opening="1").status_code == 422


# -- who is here -----------------------------------------------------------------------------------


def test_the_screen_keeps_who_is_here_and_how_they_read(bench, people):
    sent = bench.send(
        "/settings",
        new_name="Ada Example",
        language="de",
        pressure_unit="MPa",
        theme="dark",
        pedal="KeyB",
        then="/settings",
    )
    assert (sent.status_code, sent.headers["location"]) == (303, "/settings")

    shown = bench.get("/settings").text
    assert '<html lang="de" data-theme="dark" data-pedal="KeyB"' in shown
    assert 'data-unit="MPa"' in shown
    assert "Gespeichert" in shown
    assert "Gespeichert" not in bench.get("/settings").text
    assert list(people.names.values()) == ["Ada Example"]


def test_the_way_on_never_leads_elsewhere(bench):
    for then in ("//else.where", "https://else.where", "/\\else.where", "javascript:1", ""):
        location = bench.send("/settings", then=then).headers["location"]
        assert location in ("/", "/settings")


@pytest.mark.parametrize(
    ("asked", "language"),
    [
        ("de-AT,de;q=0.9,en;q=0.5", "de"),
        ("fr,en;q=0.8,de;q=0.2", "en"),
        ("en;q=0.2,de;q=0.7", "de"),
        ("fr", "en"),
        (";;q=,,", "en"),
        ("", "en"),
    ],
)
def test_the_browsers_language_holds_until_one_is_chosen(bench, asked, language):
    shown = bench.get("/settings", headers={"Accept-Language": asked}).text

    assert f'<html lang="{language}"' in shown


def test_a_cookie_that_is_not_ours_counts_for_nothing():
    signer, other = Signer(bytes(32)), Signer(bytes([1] * 32))
    ours = Here("Ada", "de", "psi", "dark", "F8")

    assert from_cookie(to_cookie(ours, signer), signer) == ours
    for cookie in (to_cookie(ours, other), to_cookie(ours, signer)[:-2] + "AA", "x.y", ".", "é"):
        assert from_cookie(cookie, signer) == Here()
    assert from_cookie(signer.seal("here", '{"theme": "pink"}'), signer) == Here()
    assert from_cookie(signer.seal("flash", '{"who": "Ada"}'), signer) == Here()


def test_a_cookie_of_another_program_on_this_machine_does_no_harm(bench, people):
    bench.send("/settings", new_name="Ada Example")
    bench.client.headers["Cookie"] = 'odd={"a": "b, c"}; =; ;; x; ' + "; ".join(
        f"{name}={value}" for name, value in bench.client.cookies.items()
    )

    assert "Ada Example" in bench.get("/settings").text.partition("</header>")[0]


def test_the_stores_secret_is_made_once_and_for_its_owner_alone(tmp_path):
    path = tmp_path / "web.key"
    first = secret_of(path)

    assert len(first) == 32
    assert secret_of(path) == first
    if os.name == "posix":
        assert path.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("left", [b"", b"half of it"])
def test_a_secret_that_was_cut_off_as_it_was_made_is_made_anew(tmp_path, left):
    path = tmp_path / "web.key"
    path.write_bytes(left)

    assert len(secret_of(path)) == 32
    assert secret_of(path) == path.read_bytes()
    assert [one.name for one in tmp_path.iterdir()] == ["web.key"]


def test_all_who_ask_for_the_secret_at_once_get_the_same(tmp_path):
    for n in range(20):
        with ThreadPoolExecutor(8) as pool:
            found = list(pool.map(lambda _, n=n: secret_of(tmp_path / f"{n}.key"), range(8)))
        assert {len(one) for one in found} == {32}
        assert len(set(found)) == 1


def test_a_secret_that_cannot_be_had_is_said(tmp_path):
    (tmp_path / "web.key").mkdir()

    with pytest.raises(InputFault, match="cannot be read or made"):
        secret_of(tmp_path / "web.key")


def test_somebody_who_has_not_said_who_they_are_is_asked_first(web_settings):
    request = SimpleNamespace(url=SimpleNamespace(path="/jobs/7", query="a=1&b=2"))

    sent = page.needs_person(request)

    assert sent.headers["location"] == "/settings?then=/jobs/7%3Fa%3D1%26b%3D2#who"


# -- serving ---------------------------------------------------------------------------------------

_SERVE = """
import sys
from pathlib import Path
from nozzlewright.edge.web.app import WebSettings
from nozzlewright.edge.web.serve import serve
from nozzlewright.edge.wiring.shop import open_shop
shop = open_shop(Path(sys.argv[2]))
serve(shop.workshop, WebSettings(bytes(32)), host=sys.argv[1], port=0,
      tell=lambda text: print(text, flush=True))
shop.close()
print("ended", flush=True)
"""


@contextmanager
def _served(host: str, folder: Path):
    with subprocess.Popen(
        [sys.executable, "-W", "error", "-c", _SERVE, host, folder],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            yield process
        finally:
            process.kill()


@pytest.mark.skipif(os.name != "posix", reason="signals as on POSIX")
def test_it_says_its_address_and_ends_quietly_with_ctrl_c(browser, at_best, tmp_path):
    with _served("127.0.0.1", tmp_path) as process:
        line = process.stdout.readline()
        address = re.match(r"http://127\.0\.0\.1:\d+", line)[0]
        bench = browser(address)
        assert bench.get("/health").json()["status"] == "up"
        # Linux delays an acknowledgement by 40 ms: an answer in two small pieces would wait for
        # it, were they not sent at once (RFC 896, RFC 1122 4.2.3.2).
        one = partial(timeit.timeit, lambda: bench.get("/health"), number=1)
        assert at_best(one, 0.03, tries=100) < 0.03
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)

    assert process.returncode == 0
    assert out.strip() == "ended"
    assert err == ""


def test_serving_beyond_this_machine_is_told_with_a_warning(tmp_path):
    with _served("0.0.0.0", tmp_path) as process:  # noqa: S104  (that is the point)
        first = process.stdout.readline()

    assert first.startswith("Warning: listening at 0.0.0.0.")


def test_a_port_that_is_taken_is_told_with_what_to_do(web_settings):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(InputFault, match="Choose another --port"):
            serve_until_ended(None, web_settings, port=port, tell=print)


def test_who_comes_without_a_name_is_asked_for_it_and_never_sent_in_a_circle(bench):
    path = "/settings?then=/book-in"
    asked = bench.get(path).text
    assert "Say first who is at the bench" in asked
    assert re.search(r'<a class="button quiet" href="/"', asked)
    refused = bench.send(path, "/settings")
    assert refused.status_code == 422
    assert "it is not said who is at the bench" in refused.text
    named = bench.send(path, "/settings", new_name="Ada Example")
    assert named.headers["location"] == "/book-in"
    assert "Say first who is at the bench" not in bench.get(path).text
