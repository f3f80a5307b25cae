"""What each page costs the server after many years: 20,000 jobs, 1,500,000 entries, SQLite.

Run: python benchmarks/pages.py [FOLDER [JOBS]]
Without a folder the record is built in one that is gone afterwards; a folder is kept, and used
again. Stories are those of the demo workshop, told over and over: every entry, verdict and test is
as large as it would be, and every job can be judged, since the evidence is there.

Server time is that between the request's arrival in the application and the last byte that it
sends, over a real server and a real connection; the store's part is the time spent in its methods.
"""

from __future__ import annotations

import queue
import random
import re
import sys
import tempfile
import threading
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import httpx
import uvicorn

from nozzlewright.bench import StepPlan, steps_of
from nozzlewright.bench.sums import SUMS
from nozzlewright.edge.web.app import WebSettings, create_app
from nozzlewright.edge.web.here import COOKIE, Here, to_cookie
from nozzlewright.edge.web.serve import settle
from nozzlewright.edge.web.signed import Signer
from nozzlewright.edge.wiring.demo_shop import FITTER, make_demo_shop
from nozzlewright.edge.wiring.shop import Shop, open_shop
from nozzlewright.records import FIRST, SHOP, Entry, EntryKind, digest_of, payload, told
from nozzlewright.workflow.ports import InjectorRow, JobRow
from nozzlewright.workflow.workshop import rows_of

JOBS = 20_000
LARGE_EVERY = 10
"""One set in so many has six injectors; the others have two."""
BEGAN = datetime(2010, 1, 4, 8, 0, tzinfo=UTC)
LIMIT_MS = 50.0
IN_HAND = 40
"""Jobs that are not handed over: the last ones."""
AT_ONCE = 12
"""Jobs into which entries come at the same time."""
VISITS = 60
SHOP_EVERY = 50
"""One entry in so many is the workshop's own: a rig of the day."""
CROWD_PEOPLE, CROWD_JOBS, CROWD_S = 8, 50, 60.0
SECRET = bytes(range(32))
WORDS = ["amber", "birch", "cedar", "dale", "elm", "fern", "gorse", "hazel", "iris", "juniper"]


# -- build -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Template:
    """One story that is told again: texts with signs in place of what differs."""

    texts: tuple[str, ...]
    rows: tuple[JobRow | InjectorRow, ...]
    injectors: tuple[str, ...]
    ids: tuple[str, ...]
    job: str
    state: str
    pieces: tuple[tuple[str, ...], ...] = field(init=False)

    def __post_init__(self) -> None:
        names = [re.escape(name) for name in (*self.injectors, *self.ids, self.job, *_OWN)]
        names += [r"D-\d{3}", "N-881"]
        split = re.compile("(" + "|".join(names) + ")")
        object.__setattr__(self, "pieces", tuple(tuple(split.split(t)) for t in self.texts))


_OWN = ('"number":0', '"previous":""', "2000-01-01T00:00:00.000+00:00")


def template(job: str, entries: Sequence[Entry], plan: StepPlan) -> Template:
    """Return a story of the demo workshop as one that can be told again."""
    at = datetime(2000, 1, 1, tzinfo=UTC)
    story = told(job, entries, plan)
    return Template(
        texts=tuple(payload(0, replace(entry.draft, at=at), "") for entry in entries),
        rows=tuple(rows_of(story, steps_of(plan))),
        injectors=(*story.injectors, *story.shelved),
        ids=tuple(entry.id for entry in entries),
        job=job,
        state="handed over" if story.handed_over else "open",
    )


@dataclass
class Telling:
    """A template, told for one job of its own."""

    template: Template
    job: str
    rng: random.Random
    at: int = 0
    names: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in (*self.template.injectors, *self.template.ids):
            self.names[name] = str(uuid.UUID(int=self.rng.getrandbits(128), version=4))
        self.names[self.template.job] = self.job
        self.names["N-881"] = f"N-{self.job}"

    def renamed(self, piece: str) -> str:
        known = self.names.get(piece)
        if known is None and re.fullmatch(r"D-\d{3}", piece):
            known = f"{self.rng.choice('ABCD')}{self.rng.randrange(10**7):07}"
            self.names[piece] = known
        return known if known is not None else piece

    def next(self, number: int, previous: str, at: datetime) -> str:
        self.names['"number":0'] = f'"number":{number}'
        self.names['"previous":""'] = f'"previous":"{previous}"'
        self.names[_OWN[2]] = at.isoformat(timespec="milliseconds")
        pieces = self.template.pieces[self.at]
        self.at += 1
        return "".join(
            self.renamed(piece) if index % 2 else piece for index, piece in enumerate(pieces)
        )

    @property
    def done(self) -> bool:
        return self.at == len(self.template.pieces)

    def rows(self, touched: datetime) -> Iterator[JobRow | InjectorRow]:
        engine = f"{self.rng.choice(WORDS)} {self.rng.choice(WORDS)}"
        for row in self.template.rows:
            if isinstance(row, JobRow):
                marks = [{k: self.renamed(v) if isinstance(v, str) else v for k, v in mark.items()}
                         for mark in row.marks]  # fmt: skip
                yield replace(row, job=self.job, title=f"{row.title} {engine}", marks=marks,
                              customer=f"{self.rng.choice(WORDS)} farm",
                              booked_at=touched, touched_at=touched)  # fmt: skip
            else:
                pair = self.renamed(row.pair).replace(self.template.job, self.job)
                yield InjectorRow(self.renamed(row.injector), self.renamed(row.serial), pair,
                                  self.job if row.story else "", row.cylinder)  # fmt: skip


def build(folder: Path, jobs: int) -> None:
    """Build the record."""
    start = time.perf_counter()
    make_demo_shop(folder, lambda _: None)
    shop = open_shop(folder)
    own, templates = _taken_apart(shop)
    shop.close()
    for name in folder.glob("record.*"):
        name.unlink()
    shop = open_shop(folder)
    rows: list[JobRow | InjectorRow] = []
    shop.store.records.load(_chain(own, templates, rows, jobs))
    shop.store.records.put_rows(rows)
    number, _ = shop.store.records.head()
    shop.close()
    size = sum(one.stat().st_size for one in folder.rglob("*") if one.is_file())
    spent = time.perf_counter() - start
    print(f"{jobs} jobs, {number} entries, {size / 1e6:.0f} MB, built in {spent:.0f} s")


def _taken_apart(shop: Shop) -> tuple[list[Entry], dict[str, Template]]:
    """Return the shop's own entries, and its stories by what they are good for."""
    workshop, records = shop.workshop, shop.store.records
    for row in records.jobs():
        story = workshop.story(row.job)
        if row.waits_for == "hand-over":
            _handed_over_too(shop, row.job)
        del story
    found: dict[str, Template] = {}
    for row in records.jobs():
        story = workshop.story(row.job)
        made = template(row.job, story.entries, workshop.plan(story))
        found[f"{made.state} {len(story.injectors)}"] = made
    return records.story(SHOP), found


def _handed_over_too(shop: Shop, job: str) -> None:
    note = shop.workshop.note
    note(str(uuid.uuid4()), "N. E. Body", job, EntryKind.HANDED_OVER, {"to": "x", "packed": {}})
    note(str(uuid.uuid4()), "N. E. Body", job, EntryKind.RUNNING_CHECK, {"well": True, "note": ""})


def _chain(
    own: list[Entry],
    templates: dict[str, Template],
    rows: list[JobRow | InjectorRow],
    jobs: int,
) -> Iterator[str]:
    """Yield the texts of a chain in which several jobs are in hand at once."""
    rng = random.Random(1)  # noqa: S311
    two, six = templates["handed over 2"], templates["handed over 6"]
    bench, booked = templates["open 4"], templates["open 0"]
    each = len(two.texts) + (len(six.texts) - len(two.texts)) / LARGE_EVERY
    step = (datetime.now(UTC) - BEGAN) / (jobs * each * (1 + 1 / SHOP_EVERY))
    digest, number = FIRST, 0
    rig = next(e for e in reversed(own) if e.kind is EntryKind.RIG_CHECK)
    for entry in own:
        number += 1
        text = payload(number, entry.draft, digest)
        digest = digest_of(text)
        yield text
    for person in range(9):
        number += 1
        draft = replace(own[0].draft, id=f"person-{person}", body={"name": f"Fitter {person}"})
        text = payload(number, draft, digest)
        digest = digest_of(text)
        yield text
    numbers = count()
    telling: list[Telling] = []
    while True:
        while len(telling) < AT_ONCE and (job := next(numbers)) < jobs:
            last = job >= jobs - IN_HAND
            one = six if job % LARGE_EVERY == 0 else two
            if last:
                one = bench if job % 4 else booked
            year = BEGAN + number * step
            telling.append(Telling(one, f"{year.year}-{job:05}", rng))
        if not telling:
            return
        number += 1
        at = BEGAN + number * step
        if number % SHOP_EVERY == 0:
            draft = replace(rig.draft, id=f"rig-{number}", at=at)
            text = payload(number, draft, digest)
        else:
            chosen = rng.choice(telling)
            text = chosen.next(number, digest, at)
            if chosen.done:
                rows.extend(chosen.rows(at))
                telling.remove(chosen)
        digest = digest_of(text)
        yield text


# -- serve and measure -----------------------------------------------------------------------------


class Watched:
    """What stands between the workshop and its store: adds up the time spent there."""

    def __init__(self, inner: Any) -> None:
        self._inner = inner
        self.spent = 0.0
        self.asked = 0

    def __getattr__(self, name: str) -> Any:
        found = getattr(self._inner, name)
        if not callable(found):
            return found

        def timed(*args: Any, **more: Any) -> Any:
            start = time.perf_counter()
            try:
                return found(*args, **more)
            finally:
                self.spent += time.perf_counter() - start
                self.asked += 1

        return timed


class Timed:
    """The application with a clock around it."""

    def __init__(self, app: Any, store: Watched) -> None:
        self._app, self._store = app, store
        self.alone = True
        self.answered: queue.Queue[tuple[float, float, float, int]] = queue.Queue()

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        spent, asked = self._store.spent, self._store.asked
        start, worked = time.perf_counter(), time.process_time()
        await self._app(scope, receive, send)
        total, work = time.perf_counter() - start, time.process_time() - worked
        if self.alone:
            self.answered.put((total, work, self._store.spent - spent, self._store.asked - asked))


@dataclass(frozen=True)
class Visit:
    """What the answer to one request took."""

    total_ms: float
    work_ms: float
    """Time of a processor, which other programs on the machine do not lengthen."""
    store_ms: float
    asked: int
    """How often the store was asked."""


@dataclass
class Site:
    """A served workshop, and a browser that is at home in it."""

    shop: Shop
    timed: Timed
    client: httpx.Client
    token: str

    def visit(self, path: str, data: dict[str, str] | None = None) -> Visit:
        """Ask for a page; return what it took."""
        if data is None:
            answer = self.client.get(path)
        else:
            fields = {"csrf": self.token, "form_id": str(uuid.uuid4()), **data}
            answer = self.client.post(path, data=fields)
        if answer.status_code not in ({200} if data is None else {303}):
            raise SystemExit(f"{path}: {answer.status_code}\n{answer.text[:2000]}")
        total, work, store, asked = self.timed.answered.get()
        return Visit(total * 1e3, work * 1e3, store * 1e3, asked)


def serve(shop: Shop) -> tuple[Site, uvicorn.Server, threading.Thread]:
    """Serve a workshop as ``nozzlewright serve`` does, with a clock around it."""
    records = Watched(shop.store.records)
    shop.workshop.records = records
    app = create_app(shop.workshop, WebSettings(secret=SECRET))
    timed = Timed(app, records)
    config = uvicorn.Config(timed, port=0, log_level="warning", access_log=False)
    settle()
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    address = f"http://127.0.0.1:{port}"
    client = httpx.Client(base_url=address, timeout=60, headers={"Origin": address})
    client.cookies.set(COOKIE, to_cookie(Here(who=FITTER), Signer(SECRET)))
    shown = client.get("/settings").text
    found = re.search(r'<meta name="csrf" content="([^"]+)"', shown)
    timed.answered.get()
    return Site(shop, timed, client, found[1] if found else ""), server, thread


Path_ = Callable[[random.Random], tuple[str, dict[str, str] | None]]


def paths(shop: Shop) -> dict[str, Path_]:
    """Return the addresses that a person uses."""
    records = shop.store.records
    done = _all_jobs(records)
    newest = [row for row in records.jobs(state="open", limit=IN_HAND) if row.marks[0]["injector"]]
    sheet = shop.workshop.sheets()[0].digest

    def done_job(rng: random.Random) -> JobRow:
        return rng.choice(done)

    def at(more: str) -> Path_:
        return lambda rng: (f"/job/{done_job(rng).job}{more}", None)

    def injector(more: str) -> Path_:
        def path(rng: random.Random) -> tuple[str, None]:
            row = done_job(rng)
            return f"/job/{row.job}/injector/{rng.choice(row.marks)['injector']}{more}", None

        return path

    def bench(more: str) -> Path_:
        def path(rng: random.Random) -> tuple[str, None]:
            row = rng.choice(newest)
            mark = next(mark for mark in row.marks if mark["in_hand"])
            return f"/job/{row.job}/injector/{mark['injector']}{more}", None

        return path

    def step_done(rng: random.Random) -> tuple[str, dict[str, str]]:
        return bench("/step/inspect")(rng)[0], {"act": "done"}

    def seen(rng: random.Random) -> tuple[str, dict[str, str]]:
        return bench("/step/slide")(rng)[0], {"act": "", "slides": "yes"}

    def page(address: str) -> Path_:
        return lambda _: (address, None)

    def a_sum(rng: random.Random) -> tuple[str, None]:
        key, one = rng.choice(sorted(SUMS.items()))
        return f"/sums/{key}?{urlencode(one.examples[0].typed)}", None

    return {
        "jobs in hand": page("/"),
        "jobs, all": page("/?show=all"),
        "jobs, a later page": lambda rng: (f"/?show=all&after={done_job(rng).job}", None),
        "jobs handed over, a later page":
            lambda rng: (f"/?show=handed-over&after={done_job(rng).job}", None),
        "jobs by two words":
            lambda rng: (f"/?show=all&search={'+'.join(rng.choices(WORDS, k=2))}", None),
        "jobs by number": lambda rng: (f"/?show=all&search={done_job(rng).job}", None),
        "jobs by one letter": lambda rng: (f"/?show=all&search={rng.choice('abcdef')}", None),
        "jobs by a serial number":
            lambda rng: (f"/?show=all&search={rng.choice(done_job(rng).marks)['serial']}", None),
        "book in": page("/book-in"),
        "sheets": page("/sheets"),
        "a sheet": page(f"/sheets/{sheet}"),
        "sheet, new": page("/sheets/new"),
        "rig": page("/rig"),
        "certificate": page("/certificate"),
        "drawer": page("/drawer"),
        "springs on the shelf": page("/springs"),
        "studies": page("/study"),
        "table of causes": page("/causes"),
        "sums": page("/sums"),
        "a sum": a_sum,
        "settings": page("/settings"),
        "practice": page("/practice"),
        "a job's bench": at(""),
        "story": at("/story"),
        "story, whole": at("/story?whole=true"),
        "set": at("/set"),
        "hand over": at("/hand-over"),
        "labels": at("/labels"),
        "fitting sheet": at("/fitting"),
        "match of the set": at("/match"),
        "running check": at("/running-check"),
        "choose a sheet": at("/sheet"),
        "step, next": injector(""),
        "step, as found": injector("/step/as-found"),
        "step, set": injector("/step/set"),
        "findings": injector("/findings"),
        "a spring to be measured": injector("/findings?part=spring"),
        "causes": injector("/causes"),
        "budgets": injector("/budget"),
        "budget of a value": injector("/budget/opening"),
        "gauge": injector("/gauge?step=re-read"),
        "an injector's history":
            lambda rng: (f"/injector/{rng.choice(done_job(rng).marks)['injector']}", None),
        "tag":
            lambda rng: (f"/job/{rng.choice(newest).job}/tag?search={rng.randrange(9999)}", None),
        "step in hand": bench(""),
        "findings in hand": bench("/findings"),
        "gauge in hand": bench("/gauge?step=as-found"),
        "saving a step": step_done,
        "saving what was seen, judged anew": seen,
    }  # fmt: skip


def _all_jobs(records: Any) -> list[JobRow]:
    """Return jobs from all years that were handed over."""
    rows: list[JobRow] = []
    last = ""
    while page := records.jobs(state="handed over", after=last, limit=1000):
        rows += page
        last = page[-1].job
    return rows


def _middle(values: Sequence[float]) -> float:
    return sorted(values)[len(values) // 2]


def _most(values: Sequence[float]) -> float:
    """Return the 95 % point."""
    return sorted(values)[int(len(values) * 0.95)]


def measure(site: Site, routes: dict[str, Path_], visits: int) -> None:
    """Print what each page takes, its first visit and the next."""
    names = ("first", "95 %", "of it work", "95 %", "store", "again", "95 %", "asked")
    print(f"{'[ms]':<36}" + "".join(f"{name:>11}" for name in names))
    slow: list[str] = []
    for name, route in routes.items():
        rng = random.Random(name)  # noqa: S311
        try:
            site.visit(*route(rng))
        except SystemExit as refused:
            if ": 404" not in str(refused):
                raise
            print(f"{name:<36}  no such page")
            continue
        first, again = [], []
        for _ in range(visits):
            where = route(rng)
            first.append(site.visit(*where))
            again.append(site.visit(*where))
        totals = [one.total_ms for one in first]
        work = [one.work_ms for one in first]
        store = [one.store_ms for one in first]
        later = [one.total_ms for one in again]
        figures = [f(values) for values in (totals, work) for f in (_middle, _most)]
        figures += [_middle(store), _middle(later), _most(later)]
        late = _most(totals) > LIMIT_MS
        if late:
            slow.append(name)
        print(
            f"{name:<36}"
            + "".join(f"{figure:>11.1f}" for figure in figures)
            + f"{first[-1].asked:>11}{'  MORE' if late else ''}",
            flush=True,
        )
    print(f"\n95 % above {LIMIT_MS:g} ms: {', '.join(slow) or 'none'}")


def crowd(site: Site, seconds: float = CROWD_S) -> None:
    """Print what the memory comes to while eight people open fifty jobs, again and again."""
    site.timed.alone = False
    routes = [route for name, route in paths(site.shop).items() if "sav" not in name]
    rng = random.Random(5)  # noqa: S311
    rows = rng.sample(_all_jobs(site.shop.store.records), CROWD_JOBS)
    pages = ["", "/story", "/set", "/hand-over", "/labels", "/fitting"]
    until, answers, failed = time.monotonic() + seconds, count(), count()

    def person(start: int) -> None:
        own = random.Random(start)  # noqa: S311
        with httpx.Client(
            base_url=site.client.base_url, cookies=site.client.cookies, timeout=60
        ) as client:
            while time.monotonic() < until:
                path = f"/job/{own.choice(rows).job}{own.choice(pages)}"
                if own.random() < 0.3:
                    path, _ = own.choice(routes)(own)
                next(answers if client.get(path).status_code == 200 else failed)

    people = [threading.Thread(target=person, args=(n,)) for n in range(CROWD_PEOPLE)]
    for one in people:
        one.start()
    resident = []
    while any(one.is_alive() for one in people):
        time.sleep(seconds / 12)
        resident.append(_resident_mb())
    served, refused = next(answers), next(failed)
    print(
        f"\n{CROWD_PEOPLE} people at {CROWD_JOBS} jobs for {seconds:g} s: {served} pages, "
        f"{refused} refused; memory {' '.join(f'{mb:.0f}' for mb in resident)} MB"
    )


def _resident_mb() -> float:
    text = Path("/proc/self/status").read_text(encoding="ascii")
    return int(re.search(r"VmRSS:\s+(\d+)", text)[1]) / 1024  # type: ignore[index]


def main(folder: Path, jobs: int) -> None:
    """Build where nothing is there, serve, measure."""
    if not (folder / "record.sqlite").exists():
        build(folder, jobs)
    shop = open_shop(folder)
    site, server, thread = serve(shop)
    try:
        measure(site, paths(shop), VISITS)
        crowd(site)
    finally:
        server.should_exit = True
        thread.join(10)
        site.client.close()
        shop.close()


if __name__ == "__main__":
    asked = sys.argv[1:]
    if asked:
        main(Path(asked[0]), int(asked[1]) if asked[1:] else JOBS)
    else:
        with tempfile.TemporaryDirectory() as passing:
            main(Path(passing) / "workshop", JOBS)
