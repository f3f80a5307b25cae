"""Every page of the demo workshop, looked at in a real browser.

What a page is follows from the application's own table of addresses: one that is never reached
fails a test.
"""

from __future__ import annotations

import json
import re
import shutil
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from html import unescape
from io import BytesIO
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from babel.messages.pofile import read_po
from PIL import Image

from nozzlewright.advice.causes.table import SOURCES
from nozzlewright.edge.web.app import WebSettings, create_app
from nozzlewright.edge.web.page import WEB
from nozzlewright.edge.web.screens.gauge import SEEN_AT
from nozzlewright.edge.wiring.shop import open_shop
from nozzlewright.records import EntryKind
from nozzlewright.simulator import practice_sheet

pytestmark = pytest.mark.slow

WIDTHS = (360, 1920)
NO_PAGES = {
    "/health",
    "/evidence/{digest}.jpg",
    "/job/{job}/report.pdf",
    "/job/{job}/report.html",
    "/sheets/{digest}/sheet.toml",
}
"""Addresses that give something else than a page of the screens."""
FILES = ("/static/", "/evidence/", "/health")
MOST_PAGES, MOST_STEPS = 8, 3
"""Pages of one kind that are followed."""
BY_QUERY = {"step", "how", "show", "part", "new", "copy", "job", "search", "cylinder"}
"""What in an address's query makes it another page."""


# -- where the pages are --------------------------------------------------------------------------


def patterns() -> dict[str, re.Pattern[str]]:
    """Return the application's pages: address with its places, and what fits it."""
    paths = create_app(None, WebSettings(secret=bytes(range(32)))).openapi()["paths"]
    return {
        path: re.compile(re.sub(r"\{[^}]+\}", "[^/]+", path) + "$")
        for path, acts in paths.items()
        if "get" in acts and path not in NO_PAGES
    }


def pattern_of(path: str, known: dict[str, re.Pattern[str]]) -> str:
    return next((name for name, fits in known.items() if fits.match(path)), "")


def kind_of(address: str, known: dict[str, re.Pattern[str]]) -> str:
    """Return what is alike for pages that differ only by their data."""
    parts = urlsplit(address)
    name = pattern_of(parts.path, known)
    if name.endswith("/step/{key}"):
        name = name.replace("{key}", parts.path.rsplit("/", 1)[1])
    asked = {
        key: values[0] if key in {"step", "how", "show"} else ""
        for key, values in parse_qs(parts.query).items()
        if key in BY_QUERY
    }
    return f"{name} {asked or ''}".strip()


def found_pages(
    request,
    address: str,
    known: dict[str, re.Pattern[str]],
    begun: list[str],
    *,
    follow: bool = True,
) -> dict[str, str]:
    """Follow the links of the workshop from some pages; return one address for each kind of page.

    What can be sent from a page belongs to its kind: it tells in which state its job and its
    injector are.
    """
    waiting, seen, counted, found = list(begun), set(begun), Counter(), {}
    while waiting:
        path = waiting.pop(0)
        kind = kind_of(path, known)
        counted[kind] += 1
        if not kind or counted[kind] > (MOST_STEPS if "{injector}/" in kind else MOST_PAGES):
            continue
        answer = request.get(f"{address}{path}")
        assert answer.ok, f"{path}: {answer.status}"
        if "text/html" not in answer.headers.get("content-type", ""):
            continue
        text = answer.text()
        acts = {one.rsplit("/", 1)[1] for one in re.findall(r'method="post" action="([^"]+)', text)}
        if "take" in acts:  # the same at every step
            kind = re.sub(r"/step/.*", "/step, not in hand", kind)
        found.setdefault(f"{kind} {sorted(acts)}", path)
        for link in re.findall(r'<a\b[^>]*\bhref="([^"#]+)', text):
            link = unescape(link).removeprefix(address)
            assert not link.startswith(("http:", "https:", "//")), f"{path} leads to {link}"
            ours = link.startswith("/") and not link.startswith(FILES)
            if follow and ours and link not in seen:
                seen.add(link)
                waiting.append(link)
    return found


# -- the workshop in a browser --------------------------------------------------------------------


@pytest.fixture(scope="module")
def demo(served, demo_made, tmp_path_factory):
    folder = Path(shutil.copytree(demo_made, tmp_path_factory.mktemp("pages") / "workshop"))
    with served.Served(folder) as shop:
        yield shop


@pytest.fixture(scope="module")
def known():
    return patterns()


@contextmanager
def looking(chromium, address: str, width: int, **settings: str) -> Iterator[object]:
    """Give a page of somebody who has said who they are; nothing leaves this machine."""
    context = chromium.new_context(
        viewport={"width": width, "height": 800}, reduced_motion="reduce", color_scheme="light"
    )
    told: list[str] = []

    def ask(route, request):
        if request.url.startswith((address, "data:", "blob:")):
            route.continue_()
            return
        told.append(f"asks for {request.url}")
        route.abort()

    context.route("**/*", ask)
    page = context.new_page()
    page.told = told
    page.on("console", lambda said: told.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda fault: told.append(str(fault)))
    page.on("websocket", lambda line: told.append(line.url) if _elsewhere(line, address) else None)
    page.goto(f"{address}/settings")
    for name, value in ({"who": ""} | settings).items():
        chosen = page.locator(
            f'input[name="{name}"][value="{value}"]' if value else f'input[name="{name}"]'
        ).first
        chosen.evaluate("one => { one.checked = true; }")
    with page.expect_navigation():
        page.locator("main form button[type=submit]").click()
    try:
        yield page
    finally:
        context.close()


def _elsewhere(line, address: str) -> bool:
    return urlsplit(line.url).netloc != urlsplit(address).netloc


@pytest.fixture(scope="module")
def pages(chromium, demo, known):
    """One address for each kind of page, a practice that was begun and one decided among them."""
    with looking(chromium, demo.address, 1920) as page:
        page.goto(f"{demo.address}/practice")
        for decided in (True, False):
            with page.expect_navigation():
                page.get_by_role("button", name="Begin").first.click()
            bench = urlsplit(page.url).path
            if decided:
                for name in ("decision", "fault"):
                    page.locator(f"label:has(input[name={name}])").first.click()
                with page.expect_navigation():
                    page.get_by_role("button", name="Decide").click()
                page.goto(f"{demo.address}/practice")
        found = found_pages(page.request, demo.address, known, ["/", bench])
        injector = next(
            path
            for kind, path in found.items()
            if kind.startswith("/job/{job}/injector/{injector}/step/")
        ).split("/step/")[0]
        gauges = [f"{injector}/gauge?step={key}" for key in (*SEEN_AT, "set")]
        gauges += [f"{injector}/gauge?step=as-found&how={how}" for how in ("hand", "file")]
        return found | found_pages(page.request, demo.address, known, gauges, follow=False)


# -- what is looked at ----------------------------------------------------------------------------

TOO_SMALL = """
() => [...document.querySelectorAll(
    "a[href], button, input:not([type=hidden]), select, textarea, summary")]
  .filter((one) => {
    if (one.matches(".skip") || !one.checkVisibility({ checkVisibilityCSS: true })) return false;
    // A tile is touched as a whole; its own tick lies under it.
    const tile = one.matches("[type=radio], [type=checkbox]") ? one.closest("label") : null;
    // A link that is stretched over its card is touched on the whole of it.
    const over = getComputedStyle(one, "::after");
    const card = over.content !== "none" && over.position === "absolute" ? one.offsetParent : null;
    const box = (tile ?? card ?? one).getBoundingClientRect();
    if (box.width >= 47.5 && box.height >= 47.5) return false;
    // A link in a sentence is as high as its line (WCAG 2.2, 2.5.8, "inline").
    if (one.matches("a") && getComputedStyle(one).display === "inline") {
      const around = one.closest("p, li, dd, dt, td, figcaption, h1, h2");
      const signs = (element) => element.innerText.trim().length;
      if (around && !one.closest("nav") && signs(around) > signs(one) + 2) return false;
    }
    return true;
  })
  .map((one) => {
    const box = one.getBoundingClientRect();
    return `${Math.round(box.width)}x${Math.round(box.height)} ${one.outerHTML.slice(0, 140)}`;
  })
"""

PRINTED = """
() => ({
  nav: [...document.querySelectorAll("header.bar, nav.bar-nav, .no-print")]
    .filter((one) => one.checkVisibility()).map((one) => one.outerHTML.slice(0, 80)),
  words: document.querySelector("main").innerText.trim().length,
})
"""


def faults_of_axe(page, axe) -> list[str]:
    found = axe(page)
    assert len(found["passes"]) > 8
    return [
        f"{one['id']}: {one['nodes'][0]['html'][:160]} ({one['nodes'][0]['failureSummary'][:200]})"
        for one in found["violations"]
    ]


def faults_of_print(page) -> list[str]:
    page.emulate_media(media="print", color_scheme="light")
    there = page.evaluate(PRINTED)
    shot = np.asarray(Image.open(BytesIO(page.screenshot())).convert("L"), dtype=float)
    page.emulate_media(media="screen")
    faults = [f"printed: {one}" for one in there["nav"]]
    ink = float((shot < 128).mean())
    if there["words"] < 20 or not 0.0005 < ink < 0.5:
        faults.append(f"printed: {there['words']} signs, {ink:.2%} ink")
    return faults


@pytest.fixture(scope="session")
def faults_of(axe, sticks_out):
    """Return what is wrong with the page as it stands."""

    def look(page) -> list[str]:
        faults = []
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            faults += [f"{scheme}: {one}" for one in faults_of_axe(page, axe)]
        if over := sticks_out(page):
            faults.append(f"scrolls sideways by {over} px")
        faults += [f"too small: {one}" for one in page.evaluate(TOO_SMALL)]
        faults += faults_of_print(page)
        faults += page.told
        page.told.clear()
        return faults

    return look


def test_every_address_of_the_application_is_reached_by_its_links(pages, known):
    reached = {pattern_of(urlsplit(path).path, known) for path in pages.values()}

    assert set(known) - reached == set()


@pytest.mark.parametrize("width", WIDTHS)
def test_every_page_can_be_used_by_everybody_fits_and_can_be_printed(
    chromium, faults_of, demo, pages, width
):
    wrong = {}
    with looking(chromium, demo.address, width) as page:
        for kind, path in pages.items():
            page.goto(f"{demo.address}{path}")
            if faults := faults_of(page):
                wrong[f"{kind}: {path}"] = faults

    assert wrong == {}, json.dumps(wrong, indent=1, ensure_ascii=False)


@pytest.mark.parametrize("width", WIDTHS)
def test_a_gauge_that_records_and_a_recording_that_waits_are_pages_like_any_other(
    chromium, faults_of, demo, pages, width
):
    gauge = next(path for kind, path in pages.items() if "/gauge" in kind and "hand" not in kind)
    wrong = {}
    with looking(chromium, demo.address, width) as page:
        page.goto(f"{demo.address}{gauge}")
        page.locator("[data-part=link][data-state=live]").wait_for()
        page.locator("#start").click()
        page.locator("[data-part=go-state]", has_text="safe on disk").wait_for()
        wrong["recording"] = faults_of(page)
        with page.expect_navigation():
            page.locator("#stop").click()
        wrong["kept"] = faults_of(page)
        with page.expect_navigation():
            page.locator("form.aside button").click()

    assert {stage: faults for stage, faults in wrong.items() if faults} == {}


@pytest.mark.parametrize("path", ["/nothing-here", "/job/none", "/evidence/none.jpg"])
def test_what_is_not_there_is_said_on_a_page_like_any_other(chromium, faults_of, demo, path):
    for width in WIDTHS:
        with looking(chromium, demo.address, width) as page:
            page.goto(f"{demo.address}{path}")
            faults = faults_of(page)

        # That it is not there is told on the console too.
        assert [one for one in faults if "404" not in one] == []


# -- in another language and another unit ---------------------------------------------------------

SAID = """
() => {
  const all = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const around = walk.currentNode.parentElement;
    if (around.closest("script, style, [lang]:not(html)")) continue;
    const text = walk.currentNode.textContent.replace(/\\s+/g, " ").trim();
    if (text) all.push(text);
  }
  for (const one of document.querySelectorAll("[aria-label], [placeholder], [alt]"))
    for (const name of ["aria-label", "placeholder", "alt"])
      all.push((one.getAttribute(name) ?? "").replace(/\\s+/g, " ").trim());
  return all;
}
"""

ENGLISH = re.compile(
    r"\b(the|of|and|with|without|is|are|not|this|that|from|which|until|before|after|each|every|"
    r"opening|pressure|injector|step|hold|seat|leak|verdict|job|sheet|save|saved)\b",
    re.IGNORECASE,
)
"""Words that no German sentence has."""


@pytest.fixture(scope="module")
def written_by_people(demo):
    """All that the demo's people wrote, and its sheets: data, in the language they wrote it in."""
    shop = open_shop(demo.folder)
    texts: set[str] = set()

    def gather(value: object) -> None:
        if isinstance(value, Mapping):
            for key, one in value.items():
                gather(key)
                gather(one)
        elif isinstance(value, list | tuple):
            for one in value:
                gather(one)
        elif isinstance(value, str):
            texts.add(" ".join(value.split()))

    for row in shop.store.records.jobs(state=None, search="", after="", limit=100):
        for entry in shop.workshop.story(row.job).entries:
            if entry.kind is not EntryKind.VERDICT:  # what the program said is no data
                gather(entry.body)
    for kind in (EntryKind.STUDY, EntryKind.RIG_CHECK):
        for entry in shop.store.records.of_kind(kind, last=500):
            gather(entry.body)
    texts |= set(SOURCES.values())
    sheets = [repr(shop.workshop.readers.sheet(one.digest)) for one in shop.workshop.sheets()]
    for sheet in (*sheets, repr(practice_sheet(200e5))):
        texts |= set(re.findall(r"='([^']*)'", sheet))
    shop.close()
    return sorted((one for one in texts if len(one) > 3), key=len, reverse=True)


def test_a_person_who_chose_german_meets_no_english(chromium, demo, pages, written_by_people):
    with (WEB / "locale" / "de" / "LC_MESSAGES" / "nozzlewright.po").open("rb") as file:
        catalogue = {
            one.id: one.string
            for one in read_po(file)
            if isinstance(one.id, str) and one.id and one.id != one.string
        }
    english: dict[str, list[str]] = {}
    with looking(chromium, demo.address, 1920, language="de") as page:
        for path in pages.values():
            page.goto(f"{demo.address}{path}")
            assert page.locator("html").get_attribute("lang") == "de"
            for text in page.evaluate(SAID):
                ours = text
                for theirs in written_by_people:
                    ours = ours.replace(theirs, "")
                if ours in catalogue or ENGLISH.search(ours):
                    english.setdefault(text, []).append(path)

    assert english == {}, json.dumps(english, indent=1, ensure_ascii=False)


def test_a_person_who_chose_psi_reads_the_same_pressures_in_psi(chromium, demo, pages):
    paths = [path for path in pages.values() if path.endswith("/set")]
    shown = {}
    for unit in ("bar", "psi"):
        with looking(chromium, demo.address, 1920, pressure_unit=unit) as page:
            words = ""
            for path in paths:
                page.goto(f"{demo.address}{path}")
                # What is printed on the sheet keeps its unit.
                words += re.sub(r"\(as printed.*", "", page.locator("main").inner_text())
        numbers = re.findall(rf"([\d.,\u202f]*\d) {unit}\b", words)
        shown[unit] = [float(one.replace("\u202f", "").replace(",", "")) for one in numbers]

    assert len(shown["bar"]) == len(shown["psi"]) > 8
    # 1 psi = 6894.757 Pa (NIST SP 811, appendix B.8); each is rounded by itself
    for bar, psi in zip(shown["bar"], shown["psi"], strict=True):
        assert psi == pytest.approx(bar * 1e5 / 6894.757, rel=0.02, abs=2.0)
