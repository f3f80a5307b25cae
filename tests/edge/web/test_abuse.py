"""What a hostile page, a broken device or a hurried pair of hands may do to the screens."""

from __future__ import annotations

import gzip
import http.client
import io
import re
import struct
import threading
import uuid
import zlib
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from urllib.parse import urlencode

import httpx
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import websockets.sync.client
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    rule,
    run_state_machine_as_test,
)
from PIL import Image

from nozzlewright.bench import TRADE_ORDER
from nozzlewright.edge.store import verify
from nozzlewright.edge.web.guard import HEADERS, MIB, UPLOAD_LIMIT
from nozzlewright.edge.web.here import COOKIE, Here, to_cookie
from nozzlewright.edge.web.signed import Signer
from nozzlewright.edge.wiring.shop import open_shop
from nozzlewright.records import EntryKind, told
from nozzlewright.workflow import workshop as workshop_module
from nozzlewright.workflow.ports import JobRow

FITTER, OTHER = "A. N. Other", "S. O. Else"
TRIES = 12
"""Stories of thirty taps each."""
SCRIPT = b"<script>alert(1)</script>"


@pytest.fixture
def bench_shop(helper):
    return helper("edge/web/bench_shop.py")


@pytest.fixture
def store(tmp_path):
    opened = open_shop(tmp_path / "shop")
    yield opened
    opened.close()


@pytest.fixture
def bench(bench_shop, store, web_settings, serve, browser):
    """A set of three on the bench of a workshop on its real store, and a fitter at the screen."""
    return bench_shop.at_the_bench(store.workshop, web_settings, serve, browser, rig=True)


def screen(bench, web_settings, who=FITTER):
    """Return another screen at which somebody stands, and the headers of its scripts."""
    address = bench.browser.address
    signer = Signer(web_settings.secret)
    cookies = {COOKIE: to_cookie(Here(who=who), signer), "csrf": uuid.uuid4().hex}
    headers = {"Origin": address, "X-CSRF": signer.mark("csrf", cookies["csrf"])}
    return httpx.Client(base_url=address, cookies=cookies, headers=headers, timeout=120.0)


@pytest.fixture
def screens(bench, web_settings):
    """Gives as many more screens as are asked for, each with somebody at it."""
    with ExitStack() as stack:
        yield lambda count, who=FITTER: [
            stack.enter_context(screen(bench, web_settings, who)) for _ in range(count)
        ]


@pytest.fixture
def hand(screens):
    return screens(1)[0]


def betrays_nothing(text):
    return not re.search(r"Traceback|File \"|site-packages|sqlalchemy|/home/|/tmp/", text)


def sound(store):
    return verify(store.store.records, store.store.evidence, lambda _: None) == []


# -- every answer ----------------------------------------------------------------------------------

ANSWERS = [
    ("GET", "/", 200),
    ("GET", "/settings", 200),
    ("GET", "/health", 200),
    ("GET", "/openapi.json", 200),
    ("GET", "/static/base.css", 200),
    ("GET", "/static/none.css", 404),
    ("GET", "/static/", 404),
    ("GET", "/none", 404),
    ("GET", "/job/none", 404),
    ("GET", "/evidence/none.jpg", 404),
    ("GET", "/job/none/story?part=two", 422),
    ("POST", "/none", 404),
    ("POST", "/", 405),
    ("POST", "/static/base.css", 405),
    ("PUT", "/settings", 405),
    ("DELETE", "/job/none", 405),
    ("PATCH", "/book-in", 405),
    ("TRACE", "/settings", 405),
    ("HEAD", "/static/base.css", 200),
    ("HEAD", "/settings", 405),
    ("HEAD", "/none", 404),
    ("OPTIONS", "/settings", 405),
    ("OPTIONS", "/static/base.css", 405),
]


@pytest.mark.parametrize(("method", "path", "status"), ANSWERS)
def test_every_answer_carries_the_policy_and_betrays_nothing(bench, hand, method, path, status):
    answer = hand.request(method, path)

    assert answer.status_code == status
    assert {name: answer.headers.get(name) for name in HEADERS} == dict(HEADERS)
    assert betrays_nothing(answer.text)
    if method == "HEAD":
        assert answer.content == b""


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "localhost.evil", ""])
@pytest.mark.parametrize("path", ["/", "/static/base.css", "/health", "/job/none"])
def test_a_foreign_name_is_refused_everywhere(bench, host, path):
    answer = bench.browser.get(path, headers={"Host": host})

    assert answer.status_code in {400, 403}
    assert "evil" not in answer.text


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "", "http://127.0.0.1:1"])
def test_the_live_line_is_closed_to_pages_from_elsewhere(bench, origin):
    address = bench.browser.address.replace("http", "ws") + "/live/anything"
    with pytest.raises(websockets.exceptions.InvalidStatus) as refused:
        websockets.sync.client.connect(address, origin=origin or None)
    assert refused.value.response.status_code == 403


@pytest.mark.parametrize(
    "line",
    [
        {"Origin": "http://["},
        {"Origin": "http://[::1"},
        {"Origin": "//"},
        {"Origin": "\xff\xfe"},
        {"Host": "["},
        {"Host": "[::1"},
        {"Host": "127.0.0.1:port"},
        {"Host": "user@127.0.0.1.evil.example"},
        {"Cookie": "csrf=\xff; here=\xe9.\xe9; ; =; here="},
        {"Cookie": "here=" + "A" * 3000 + ".B"},
        {"Accept-Language": "de;q=nan, \xff;q=1e999, x" * 9},
        {"X-CSRF": "\xe9"},
        {"Content-Type": "multipart/form-data; boundary=" + "x" * 3000},
        {"Content-Type": "application/x-www-form-urlencoded; charset=\xff"},
        {"Sec-Fetch-Site": "\xff"},
        {"If-Modified-Since": "\xff", "If-None-Match": '"' * 200},
        {"Range": "bytes=9999999999-,-1,x"},
    ],
    ids=lambda line: str(ascii(line))[:50],
)
@pytest.mark.parametrize(
    ("method", "path"), [("GET", "/"), ("POST", "/settings"), ("GET", "/static/base.css")]
)
def test_no_line_of_a_request_brings_the_program_to_a_fault(bench, store, method, path, line):
    host = bench.browser.address.removeprefix("http://")
    before = store.store.records.head()
    asked = http.client.HTTPConnection(host, timeout=120)
    asked.putrequest(method, path, skip_host=True)
    for name, value in ({"Host": host, "Content-Length": "0"} | line).items():
        asked.putheader(name, value.encode("latin-1"))
    asked.endheaders()
    answer = asked.getresponse()
    text = answer.read().decode(errors="replace")
    asked.close()

    assert answer.status < 500, text
    assert betrays_nothing(text)
    assert store.store.records.head() == before
    if method == "POST":
        assert answer.status in {400, 403}


def test_no_answer_carries_a_line_that_was_slipped_into_an_address(bench, hand):
    slipped = "%0d%0aSet-Cookie:%20own=1%0d%0a"
    paths = (f"/settings?then=/{slipped}", f"/job/{slipped}", f"/evidence/{slipped}.jpg")
    for path in paths:
        answer = hand.get(path)
        assert "own" not in answer.cookies
        assert answer.status_code < 500
    sent = {"form_id": str(uuid.uuid4()), "then": "/x\r\nSet-Cookie: own=1", "who": FITTER}
    answer = hand.post("/settings", data=sent)
    assert "own" not in answer.cookies
    assert answer.status_code < 500


# -- tokens ----------------------------------------------------------------------------------------


def _acts(bench):
    one = bench.one().injector
    names = {"job": bench.job, "injector": one, "key": "clean", "entry": "none", "bench": "none"}
    names |= {"what": "blank", "study": "none", "number": "1", "digest": "none"}
    for path, methods in bench.app.openapi()["paths"].items():
        if "post" in methods:
            yield re.sub(r"\{(\w+)\}", lambda name: names[name[1]], path)


@pytest.mark.parametrize("token", ["missing", "empty", "of another browser", "of another secret"])
def test_no_act_is_done_without_the_token_of_this_browser(bench, hand, store, web_settings, token):
    acts = list(_acts(bench))
    assert len(acts) > 30
    before = store.store.records.head()
    tokens = {
        "missing": None,
        "empty": "",
        "of another browser": Signer(web_settings.secret).mark("csrf", "another"),
        "of another secret": Signer(bytes(32)).mark("csrf", hand.cookies["csrf"]),
    }
    hand.headers.pop("X-CSRF")
    sent = {"form_id": str(uuid.uuid4()), "act": "done", "note": "not by me"}
    if tokens[token] is not None:
        sent["csrf"] = tokens[token]

    answers = {path: hand.post(path, data=sent) for path in acts}

    assert {path: answer.status_code for path, answer in answers.items()} == dict.fromkeys(
        acts, 403
    )
    assert store.store.records.head() == before


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_no_act_is_done_for_a_page_from_elsewhere(bench, hand, store, headers):
    before = store.store.records.head()

    statuses = {hand.post(path, data={}, headers=headers).status_code for path in _acts(bench)}

    assert statuses == {403}
    assert store.store.records.head() == before


# -- uploads ---------------------------------------------------------------------------------------


def _png_that_unpacks_to(side):
    """A PNG of one colour (ISO/IEC 15948): a few kilobytes, whatever its size."""

    def chunk(kind, body):
        whole = kind + body
        return struct.pack(">I", len(body)) + whole + struct.pack(">I", zlib.crc32(whole))

    head = struct.pack(">IIBBBBB", side, side, 1, 0, 0, 0, 0)
    packer = zlib.compressobj(9)
    rows = b"".join(packer.compress(bytes(1 + side // 8)) for _ in range(side)) + packer.flush()
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def _jpeg(behind=b""):
    file = io.BytesIO()
    Image.new("RGB", (60, 40), (90, 40, 20)).save(
        file, "JPEG", comment=b"<script>alert(1)</script>"
    )
    return file.getvalue() + behind


def _parquet_bomb():
    file = io.BytesIO()
    zeros = np.zeros(12_000_000)
    pq.write_table(pa.table({"time_s": zeros, "pressure_bar": zeros}), file, compression="zstd")
    return file.getvalue()


NO_PHOTOS = {
    "bomb.png": lambda: _png_that_unpacks_to(16_384),
    "claims.png": lambda: (
        _png_that_unpacks_to(64)[:16]
        + struct.pack(">II", 2**31 - 1, 2**31 - 1)
        + _png_that_unpacks_to(64)[24:]
    ),
    "page.jpg": lambda: b"<!doctype html>" + SCRIPT,
    "picture.svg": lambda: b'<svg xmlns="http://www.w3.org/2000/svg">' + SCRIPT + b"</svg>",
    "moving.gif": lambda: b"GIF89a" + bytes(200),
    "paper.pdf": lambda: b"%PDF-1.7\n%%EOF",
    "packed.jpg": lambda: b"PK\x03\x04" + bytes(100),
    "short.jpg": lambda: _jpeg()[:200],
    "empty.jpg": lambda: b"",
    "text.jpg": lambda: b"just words",
}


@pytest.mark.parametrize("name", NO_PHOTOS)
def test_what_is_no_photo_is_told_and_nothing_is_noted(bench, hand, store, name):
    before = store.store.records.head()
    content = NO_PHOTOS[name]()
    assert len(content) < 200_000
    for path, more in (
        (f"/job/{bench.job}/photo", {}),
        (
            bench.path(more="/findings"),
            {"part": "needle", "own_words": "scored", "severity": "renew"},
        ),
    ):
        answer = hand.post(
            path,
            data={"form_id": str(uuid.uuid4()), **more},
            files={"photo": (name, content, "image/jpeg")},
        )
        assert answer.status_code in {409, 422}, answer.text
        assert betrays_nothing(answer.text)
    assert store.store.records.head() == before


def test_nothing_that_hides_in_a_photo_gets_into_the_record(bench, hand, store):
    """A JPEG that is a page, an archive and a script as well."""
    payload = _jpeg(behind=SCRIPT + b"PK\x03\x04secret")
    answer = hand.post(
        f"/job/{bench.job}/photo",
        data={"form_id": str(uuid.uuid4())},
        files={"photo": ("../../index.html", payload, "text/html")},
    )
    assert answer.status_code == 303

    digest = bench.last(EntryKind.PHOTO).draft.evidence[0]
    kept = hand.get(f"/evidence/{digest}.jpg")
    assert kept.headers["content-type"] == "image/jpeg"
    assert kept.headers["x-content-type-options"] == "nosniff"
    assert kept.content.startswith(b"\xff\xd8\xff")
    assert b"script" not in kept.content
    assert b"secret" not in kept.content


def test_only_photos_are_given_out_of_the_evidence(bench, hand):
    rig = bench.shop.rig()
    for digest in (rig.conditions, rig.blank, bench.shop.sheets()[0].digest):
        assert hand.get(f"/evidence/{digest}.jpg").status_code == 404


NO_RECORDINGS = {
    "bomb.csv.gz": lambda: gzip.compress(bytes(200 * MIB), 9),
    "bomb.gz": lambda: gzip.compress(b"0.001,150.0\n" * 8_000_000, 9),
    "bomb.parquet": _parquet_bomb,
    "empty.csv": lambda: b"",
    "words.csv": lambda: b"time_s;pressure_bar\n" + b"one;two\n" * 50,
    "zeros.csv": lambda: bytes(100_000),
    "picture.csv": _jpeg,
    "half.parquet": lambda: _parquet_bomb()[:3000],
    "page.txt": lambda: b"<!doctype html>" + SCRIPT,
    "run.exe": lambda: b"MZ" + bytes(100),
    "../../../record.sqlite": lambda: b"time_s,pressure_bar\n0,1\n",
    "a" * 5000 + ".csv": lambda: b"time_s,pressure_bar\n",
}


@pytest.mark.parametrize("name", NO_RECORDINGS, ids=lambda name: name[:24])
def test_what_is_no_recording_is_told_and_nothing_is_noted(bench, hand, store, name):
    before = store.store.records.head()
    content = NO_RECORDINGS[name]()
    assert len(content) < 2 * MIB

    answer = hand.post(
        "/rig",
        data={"form_id": str(uuid.uuid4()), "temperature": "14", "hold": "uploaded"},
        files={"recording": (name, content, "text/csv")},
    )

    assert answer.status_code in {400, 422}, answer.text
    assert betrays_nothing(answer.text)
    assert store.store.records.head() == before


def test_more_than_is_taken_is_refused_though_its_size_is_not_stated(bench, hand, store):
    def endless():
        yield b'--x\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\n'
        for _ in range(UPLOAD_LIMIT // MIB + 2):
            yield bytes(MIB)

    before = store.store.records.head()
    answer = hand.post(
        f"/job/{bench.job}/photo",
        content=endless(),
        headers={"Content-Type": "multipart/form-data; boundary=x"},
    )

    assert answer.status_code == 413
    assert store.store.records.head() == before


@pytest.mark.parametrize(
    ("kind", "content", "status"),
    [
        ("application/x-www-form-urlencoded", b"&".join([b"note=1"] * 50_000), 400),
        ("application/x-www-form-urlencoded", b"note=" + b"a" * (MIB - 100), {409, 422}),
        ("application/x-www-form-urlencoded", b"note=%ED%A0%80%FF%00&form_id=%00", {409, 422}),
        ("multipart/form-data; boundary=x", b"--x\r\nnonsense", {400, 409, 422}),
        ("multipart/form-data", b"--x\r\n", 400),
        ("multipart/form-data; boundary=x", b"", {400, 409, 422}),
        ("text/plain", b"note=1", {409, 422}),
        ("application/json", b"{", {409, 422}),
    ],
)  # fmt: skip
def test_a_body_that_is_no_form_of_ours_is_refused(bench, hand, store, kind, content, status):
    before = store.store.records.head()
    path = bench.step("clean")

    answer = hand.post(path, content=content, headers={"Content-Type": kind})

    assert answer.status_code in (status if isinstance(status, set) else {status}), answer.text
    assert betrays_nothing(answer.text)
    assert store.store.records.head() == before


# -- names from outside ----------------------------------------------------------------------------

CLIMBING = [
    "../record.sqlite",
    "..%2frecord.sqlite",
    "..%2f..%2f..%2f..%2fetc%2fpasswd",
    "..%5c..%5crecord.sqlite",
    "%2e%2e/record.sqlite",
    "%252e%252e%252frecord.sqlite",
    "/etc/passwd",
    "%2fetc%2fpasswd",
    "C:%5cWindows%5cwin.ini",
    "record.sqlite%00.jpg",
    "%00",
    "%ff%fe",
    "%f0%9f%94%a7",
    "a" * 4000,
    "*",
    "store.toml",
]  # fmt: skip
PLACES = [
    "/static/{}",
    "/static/drawings/{}",
    "/evidence/{}.jpg",
    "/evidence/{}",
    "/job/{}",
    "/job/{}/report.pdf",
    "/injector/{}",
    "/sheets/{}",
    "/sheets/{}/sheet.toml",
    "/practice/bench/{}",
    "/practice/score/{}",
    "/rig?blank={}",
    "/rig?rig={}",
    "/rig/blank?bench={}",
    "/sheets/new?copy={}",
    "/settings?then={}",
    "/?after={}",
    "/?search={}",
]


@pytest.mark.parametrize("place", PLACES)
def test_no_name_from_outside_reaches_a_file(bench, web_settings, place):
    """Sent byte for byte: a client of the usual kind would put such addresses right."""
    address = bench.browser.address.removeprefix("http://")
    cookie = f"{COOKIE}={to_cookie(Here(who=FITTER), Signer(web_settings.secret))}"
    for name in CLIMBING:
        line = http.client.HTTPConnection(address, timeout=120)
        line.putrequest("GET", place.format(name), skip_host=True)
        line.putheader("Host", address)
        line.putheader("Cookie", cookie)
        line.endheaders()
        answer = line.getresponse()
        text = answer.read()
        line.close()
        assert answer.status in {200, 400, 404, 409, 422}, (name, answer.status)
        assert not re.search(rb"root:.*:0:0:|SQLite format|nothing else", text), name
        if answer.status == 200:
            assert "?" in place, name
        assert betrays_nothing(text.decode(errors="replace")), name


@pytest.mark.parametrize("act", ["finish", "drop", "save"])
@pytest.mark.parametrize(
    "name",
    ["../../record.sqlite", "/etc/passwd", "..", "\0", "a" * 1500],
    ids=["climbing", "absolute", "above", "nul", "long"],
)
def test_no_name_of_a_recording_reaches_a_file(
    helper, store, tmp_path, web_settings, serve, browser, act, name
):
    gauge = helper("edge/web/gauge_shop.py")
    with gauge.gauge_shop(store.workshop, web_settings, tmp_path / "recordings") as made:
        person = browser(serve(made.app))
        assert person.send("/settings", new_name=FITTER).status_code == 303
        before = sorted(path for path in tmp_path.rglob("*") if path.is_file())
        path = made.path().partition("?")[0]
        for bench_name in (made.bench.name, name):
            answer = person.client.post(
                f"{path}/{act}",
                data={
                    "form_id": str(uuid.uuid4()),
                    "step": "as-found",
                    "bench": bench_name,
                    "recording": name,
                },
                headers={"Origin": person.address, "X-CSRF": person.token()},
            )
            assert answer.status_code in {409, 422}, answer.text
            assert betrays_nothing(answer.text)
        after = sorted(path for path in tmp_path.rglob("*") if path.is_file())
        assert [path for path in before if path not in after] == []


# -- words from outside ----------------------------------------------------------------------------

STRANGE = {
    "a script": "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>",
    "turned round": "\u202eevil\u2066\u200b\ufeff\u0000\u0007",
    "other scripts": "наконечник 喷油嘴 فوهة 🔧 ﬁ ½ ① \u0301\u0301\u0301",
    "a template": "{{ 7 * 7 }}{% raw %}%(x)s {0} ${x} #{x}",
    "numbers of no use": "9" * 400,
    "much too long": "ab cd " * 4000,
}


@pytest.mark.parametrize("kind", STRANGE)
def test_strange_words_in_any_field_are_kept_or_refused_and_shown_as_words(
    bench, hand, store, helper, kind
):
    """Every form is filled with them, in every field that is not chosen from a list."""
    words = STRANGE[kind]
    bench.take()
    bench.tested()
    pages = [
        *("/", "/book-in", "/sheets/new", "/rig", f"/job/{bench.job}/tag"),
        f"/job/{bench.job}/hand-over",
        bench.path(more="/findings?part=needle"),
        bench.path(more="/gauge?step=as-found&how=hand"),
        *(bench.step(step.key) for step in bench.shop.steps(bench.story)),
    ]
    forms = helper("edge/web/forms_found.py").forms_found(hand, pages, most=70)
    assert len(forms) > 25
    for form in forms:
        sent = {
            name: next(iter(sorted(values - {""})), words) for name, values in form.fields.items()
        }
        sent = {**sent, "form_id": str(uuid.uuid4())}
        sent.pop("csrf", None)
        answer = hand.post(form.action, data=sent)
        assert answer.status_code in {303, 403, 404, 409, 413, 422}, (form.action, answer.text)
        assert "<script>alert(1)" not in answer.text
        assert "<img src=x" not in answer.text
        assert betrays_nothing(answer.text), form.action
    for page in (*pages, f"/job/{bench.job}/story?whole=true", f"/job/{bench.job}/labels"):
        shown = hand.get(page)
        assert shown.status_code in {200, 404}, (page, shown.text)
        assert "<script>alert(1)" not in shown.text
        assert "<img src=x" not in shown.text
        assert ">49<" not in shown.text
    assert sound(store)


def test_strange_words_reach_the_record_as_they_were_written(bench, hand):
    words = STRANGE["a script"] + STRANGE["other scripts"]
    bench.stripped()
    answer = hand.post(
        bench.step("clean"), data={"form_id": str(uuid.uuid4()), "act": "", "note": words}
    )

    assert answer.status_code == 303
    assert bench.last(EntryKind.STEP_DONE).body["note"] == words
    shown = hand.get(f"/job/{bench.job}/story?whole=true").text
    assert "&lt;script&gt;alert(1)" in shown
    assert "<script>alert(1)" not in shown


@pytest.mark.parametrize(
    "words",
    ['"', "a* OR b", "NEAR(x y)", "'; DROP TABLE job; --", "%", "\\", "§open", "-", "a" * 900],
)
def test_words_that_search_or_page_the_lists_are_only_words(bench, hand, words):
    queries = [{"search": words}, {"after": words}, {"show": words}]
    for query in (*queries, {"search": words, "after": words}):
        answer = hand.get(f"/?{urlencode(query)}")
        assert answer.status_code == 200, query
    assert bench.job in hand.get("/").text


# -- many hands ------------------------------------------------------------------------------------


def _all_at_once(acts):
    """Let all acts begin at the same moment, each in a thread of its own."""
    start = threading.Barrier(len(acts))

    def run(act):
        start.wait(20)
        return act()

    with ThreadPoolExecutor(len(acts)) as pool:
        return [one.result() for one in [pool.submit(run, act) for act in acts]]


def test_a_tap_that_comes_eight_times_at_once_is_one_entry(bench, screens, store):
    bench.take()
    before = len(bench.story.entries)
    form = str(uuid.uuid4())
    sent = {"form_id": form, "seat": "dry", "spray": "good", "act": ""}

    answers = _all_at_once(
        [lambda one=one: one.post(bench.step("as-found"), data=sent) for one in screens(8)]
    )

    assert {answer.status_code for answer in answers} == {303}
    new = bench.story.entries[before:]
    assert [entry.kind for entry in new].count(EntryKind.SEEN) == 1
    assert len([entry for entry in new if entry.kind is EntryKind.VERDICT]) <= 1
    assert len({entry.id for entry in new}) == len(new)
    assert sound(store)


def test_a_booking_that_comes_eight_times_at_once_is_one_job(bench, screens, store):
    form = str(uuid.uuid4())
    sent = {"form_id": form, "engine": "invented", "cylinders": "2", "condition": "used"}

    answers = _all_at_once([lambda one=one: one.post("/book-in", data=sent) for one in screens(8)])

    assert {answer.status_code for answer in answers} == {303}
    assert len({answer.headers["location"] for answer in answers}) == 1
    assert len(store.workshop.records.jobs()) == 2
    assert sound(store)


def test_bookings_at_the_same_moment_get_numbers_of_their_own(bench, screens, store):
    def book(one):
        sent = {"form_id": str(uuid.uuid4()), "engine": "invented", "cylinders": "1"}
        return one.post("/book-in", data={**sent, "condition": "used"})

    answers = _all_at_once([lambda one=one: book(one) for one in screens(6)])

    assert {answer.status_code for answer in answers} == {303}
    assert len({answer.headers["location"] for answer in answers}) == 6
    assert sound(store)


def test_two_who_work_on_one_job_at_once_lose_nothing(bench, screens, store):
    bench.stripped()
    notes = {who: [f"{who} {count}" for count in range(12)] for who in (FITTER, OTHER)}

    def work(one, who):
        sent = [{"form_id": str(uuid.uuid4()), "note": note, "act": ""} for note in notes[who]]
        return [one.post(bench.step("clean"), data=data).status_code for data in sent]

    there = {who: screens(1, who)[0] for who in notes}
    answers = _all_at_once([lambda who=who: work(there[who], who) for who in notes])

    assert {status for statuses in answers for status in statuses} == {303}
    written = [str(entry.body.get("note")) for entry in bench.story.entries]
    for who, own in notes.items():
        assert [note for note in written if note.startswith(who)] == own
    assert sound(store)


def test_of_two_who_take_different_injectors_in_hand_at_once_one_is_told(bench, screens):
    def take(one, cylinder):
        sent = {"form_id": str(uuid.uuid4()), "injector": bench.one(cylinder).injector}
        return one.post(f"/job/{bench.job}/take", data=sent)

    answers = _all_at_once(
        [lambda c=c, one=one: take(one, c) for c, one in enumerate(screens(2), start=1)]
    )

    assert sorted(answer.status_code for answer in answers) == [303, 409]
    refused = next(answer for answer in answers if answer.status_code == 409)
    assert "one injector open at a time" in refused.text
    assert bench.story.in_hand in {bench.one(1).injector, bench.one(2).injector}


def test_more_jobs_than_are_kept_in_mind_are_found_by_all_who_ask_at_once(
    bench, screens, store, monkeypatch
):
    """One screen's job puts that of another out of mind, at any moment."""
    monkeypatch.setattr(workshop_module, "_KEPT_STORIES", 2)
    booked = dict(bench.story.booked)
    jobs = [store.workshop.book_in(str(uuid.uuid4()), OTHER, booked) for _ in range(5)]

    def look(one, start):
        asked = [jobs[(start + count * 3) % len(jobs)] for count in range(40)]
        return [one.get(f"/job/{job}").status_code for job in asked]

    answers = _all_at_once([lambda one=one, n=n: look(one, n) for n, one in enumerate(screens(6))])

    assert {status for statuses in answers for status in statuses} == {200}


# -- any taps in any order -------------------------------------------------------------------------

CYLINDERS = st.sampled_from([1, 2, 1, 2, 3])
STEPS = st.sampled_from([step.key for step in TRADE_ORDER])
ANSWERS_AT_A_STEP = st.fixed_dictionaries(
    {
        "act": st.sampled_from(["", "", "", "done", "leave out", "go on", "no result"]),
        "why": st.sampled_from(["", "not needed here"]),
        "no_result": st.just("needle seized"),
        "slides": st.sampled_from(["yes", "no"]),
        "torque_nm": st.sampled_from(["60", "6", "x"]),
        "part": st.sampled_from(["nozzle nut", "cap nut", ""]),
        "shim_mm": st.sampled_from(["", "1,3", "1.35"]),
        "shim_from_mm": st.just("1.30"),
        "shim_to_mm": st.sampled_from(["1.40", ""]),
        "spray": st.sampled_from(["good", "poor", ""]),
        "chatter": st.sampled_from(["clear", "none", ""]),
        "seat": st.sampled_from(["dry", "drop", ""]),
        "agrees": st.just("yes"),
        "checker": st.sampled_from([FITTER, OTHER]),
        "pair": st.sampled_from(["own", "other", "new", "own", "own"]),
    }
)


AS_IT_SHOULD_BE = {
    "act": "",
    "slides": "yes",
    "torque_nm": "60",
    "part": "nozzle nut",
    "shim_from_mm": "1.30",
    "shim_to_mm": "1.40",
    "spray": "good",
    "chatter": "clear",
    "seat": "dry",
    "drop_test": "dry",
    "agrees": "yes",
    "checker": OTHER,
    "pair": "own",
}


class AnyTaps(RuleBasedStateMachine):
    """Two screens at one job, at which anything is tapped; what must hold is looked at each time.

    `at`, `client` and `other` are set by the test.
    """

    at = client = other = None

    def __init__(self):
        super().__init__()
        shop = self.at.shop
        booked = dict(self.at.story.booked) | {"title": "any taps"}
        self.job = shop.book_in(str(uuid.uuid4()), OTHER, booked)
        for cylinder in (1, 2):
            shop.tag(str(uuid.uuid4()), OTHER, self.job, cylinder, f"S-{cylinder}")
        injector = self.story.at_cylinder(1).injector
        shop.note(str(uuid.uuid4()), FITTER, self.job, EntryKind.TAKEN_IN_HAND, injector=injector)
        self.locked = {}
        self.last = None

    @property
    def story(self):
        return self.at.shop.story(self.job)

    def injector(self, cylinder):
        one = self.story.at_cylinder(cylinder)
        return one.injector if one else "none"

    def tap(self, path, *, client=None, **data):
        self.last = (path, {"form_id": str(uuid.uuid4()), **data})
        self.send(client or self.client)

    def send(self, client):
        path, data = self.last
        answer = client.post(f"/job/{self.job}{path}", data=data)
        assert answer.status_code in {303, 404, 409, 422}, (path, data, answer.text)
        assert betrays_nothing(answer.text)
        page = answer.headers.get("location", f"/job/{self.job}")
        assert client.get(page).status_code in {200, 303, 404}, page

    @rule(cylinder=CYLINDERS, tray=st.sampled_from(["", "B"]))
    def take(self, cylinder, tray):
        close = self.story.in_hand
        self.tap("/take", injector=self.injector(cylinder), close=close, tray=tray)

    @rule(cylinder=CYLINDERS, tray=st.sampled_from(["", "A"]))
    def lay_down(self, cylinder, tray):
        self.tap("/lay-down", injector=self.injector(cylinder), tray=tray)

    @rule(cylinder=CYLINDERS, key=STEPS, answer=ANSWERS_AT_A_STEP)
    def answer_any_step(self, cylinder, key, answer):
        self.answer(cylinder, key, answer)

    @rule(steps=st.integers(1, 14), answer=ANSWERS_AT_A_STEP)
    def work_on_at_the_one_in_hand(self, steps, answer):
        """Some steps as they should be done, then one answered in any way."""
        for _ in range(steps):
            one = self.story.injectors.get(self.story.in_hand)
            step = one and one.next_step(self.at.shop.steps(self.story))
            if step is None:
                return
            if step.key == "as-found":
                self.type_readings(one.cylinder, "175")
            else:
                done = {"act": "go on"} if step.key in {"re-read", "back-leakage"} else {}
                self.answer(one.cylinder, step.key, AS_IT_SHOULD_BE | done)
        self.answer(one.cylinder, step.key, answer)

    @rule(cylinder=CYLINDERS)
    def go_on_with(self, cylinder):
        """Close the one that is open, and open another."""
        close, injector = self.story.in_hand, self.injector(cylinder)
        self.tap("/take", injector=injector, close=close, tray="A")

    def answer(self, cylinder, key, answer):
        one, another = self.story.at_cylinder(cylinder), self.story.at_cylinder(3 - cylinder % 3)
        pairs = {
            "own": one.pair if one else "",
            "other": another.pair if another else "P-0",
            "new": f"N-{uuid.uuid4().hex[:6]}",
        }
        if answer["pair"] == "new":
            answer = {**answer, "pair_tag": pairs["new"]}
        else:
            answer = {**answer, "pair": pairs[answer["pair"]]}
        self.tap(f"/injector/{self.injector(cylinder)}/step/{key}", **answer)

    @rule(cylinder=CYLINDERS, opening=st.sampled_from(["175", "160", "0", "x", "-5", "1e9"]))
    def type_any_readings(self, cylinder, opening):
        self.type_readings(cylinder, opening)

    def type_readings(self, cylinder, opening):
        one = self.story.at_cylinder(cylinder)
        step = "as-found" if one is None or not one.changed else "re-read"
        self.tap(
            f"/injector/{self.injector(cylinder)}/gauge/hand",
            step=step,
            dial_unit="bar",
            division="5",
            opening_1=opening,
            opening_2="176",
        )

    @rule(cylinder=CYLINDERS, severity=st.sampled_from(["note", "rework", "renew"]))
    def find(self, cylinder, severity):
        path = f"/injector/{self.injector(cylinder)}/findings"
        self.tap(path, part="needle", own_words="scored", severity=severity)

    @rule(back=st.integers(0, 6))
    def take_back(self, back):
        entries = self.story.entries
        self.tap(f"/story/{entries[-1 - back % len(entries)].id}/take-back", why_back="a slip")

    @rule(cylinder=CYLINDERS, pair=st.sampled_from(["", "", "shared"]))
    def tag(self, cylinder, pair):
        pair = f"{self.job}/1" if pair else ""
        self.tap("/tag", cylinder=str(cylinder), serial=f"T-{cylinder}", pair=pair)

    @rule(cylinder=CYLINDERS)
    def shelve(self, cylinder):
        self.tap("/shelve", injector=self.injector(cylinder), where="shelf 2")

    @rule()
    def match(self):
        self.tap("/set")

    @rule()
    def hand_over(self):
        self.tap("/hand-over", taken_by="the customer", note="nothing packed")

    @rule()
    def take_the_hand_over_back(self):
        self.tap("/hand-over/take-back", why="a slip")

    @rule(at_the_other=st.booleans())
    def tap_once_more(self, at_the_other):
        if self.last is not None:
            before = len(self.story.entries)
            self.send(self.other if at_the_other else self.client)
            again = [entry.id for entry in self.story.entries]
            assert len(set(again)) == len(again) >= before

    @invariant()
    def parts_of_two_never_lie_open(self):
        apart = [one for one in self.story.injectors.values() if one.apart]
        assert len([one for one in apart if not one.pair_condemned]) <= 1

    @invariant()
    def no_pair_belongs_to_two(self):
        pairs = [one.pair for one in self.story.injectors.values()]
        assert len(set(pairs)) == len(pairs)

    @invariant()
    def what_was_found_stays_as_it_was_read(self):
        for one in self.story.injectors.values():
            found = [(e.id, e.body) for e in (*one.tests_of("as found"), *one.seen_of("as found"))]
            if not one.changed:
                self.locked.pop(one.injector, None)
            elif self.locked.setdefault(one.injector, found) != found:
                raise AssertionError(f"{self.locked[one.injector]} became {found}")

    def teardown(self):
        shop = self.at.shop
        entries = shop.records.story(self.job)
        afresh = told(self.job, entries, shop.plan(self.story))
        assert afresh == self.story
        (row,) = shop.records.jobs(search=self.job)
        anew = next(one for one in shop.rows(afresh) if isinstance(one, JobRow))
        assert (row.state, row.waits_for, list(row.marks)) == (
            anew.state,
            anew.waits_for,
            list(anew.marks),
        )


def test_whatever_is_tapped_in_whatever_order_the_record_holds(bench, screens, store):
    AnyTaps.at, (AnyTaps.client, AnyTaps.other) = bench, screens(2)

    run_state_machine_as_test(
        AnyTaps,
        settings=settings(
            max_examples=TRIES,
            stateful_step_count=30,
            derandomize=True,
            database=None,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )

    assert sound(store)
