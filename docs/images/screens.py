"""Pictures of every page of the demo workshop; a few of them, small, for the docs.

Run: make screens [PICTURES=folder]
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from html import unescape
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

HERE = Path(__file__).parent
FOR_DOCS = HERE / "bench"
CHROMIUM = "/usr/bin/chromium"
FITTER = "A. N. Other"
SIZES = {"desktop": (1920, 1080), "phone": (360, 760)}
COLOURS = 64
"""Of a picture in the docs, so that it stays small."""
IDENTITIES = re.compile(r"[0-9a-f]{8}-[0-9a-f-]{27}|[0-9a-f]{64}|\d{4}-\d{4}|bench/[\w-]+")
TO_THE_TOP = "one => { one.scrollIntoView(); scrollBy(0, -40); }"
MOST_PAGES, MOST_STEPS = 8, 3
"""Pages of one kind that are followed."""
ALIKE = {"saved", "after", "then", "bench", "cylinder", "rig"}
"""What in an address's query does not make it another kind of page."""


def main() -> None:
    """Take the pictures: of every page where a folder for them is given, and those of the docs."""
    FOR_DOCS.mkdir(exist_ok=True)
    with demo() as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        for folder in map(Path, sys.argv[1:2]):
            folder.mkdir(parents=True, exist_ok=True)
            every_page(browser, address, folder)
        for_docs(browser, address)
        browser.close()


def every_page(browser: Browser, address: str, folder: Path) -> None:
    """Take each page in both sizes, light and dark."""
    pages = kinds(address, visitor(browser, address, *SIZES["desktop"]))
    for name, (width, height) in SIZES.items():
        for scheme in ("light", "dark"):
            context = visitor(browser, address, width, height, scheme)
            page = context.new_page()
            for kind, path in pages.items():
                page.goto(f"{address}{path}")
                page.evaluate("document.fonts.ready")
                page.screenshot(path=folder / f"{kind}-{name}-{scheme}.png", full_page=True)
            context.close()


@contextmanager
def demo() -> Iterator[str]:
    """Make the demo workshop and serve it; gives its address without the last slash."""
    command = Path(sys.executable).with_name("nozzlewright")
    with tempfile.TemporaryDirectory() as passing:
        serving = subprocess.Popen(
            [command, "demo", Path(passing) / "workshop", "--port", "0"],
            stdout=subprocess.PIPE,
            text=True,
        )
        try:
            for line in serving.stdout or ():
                if found := re.match(r"http://\S+(?=/)", line):
                    yield found[0]
                    return
            raise SystemExit("the demo workshop does not come up")
        finally:
            serving.terminate()
            serving.wait(20)


def visitor(
    browser: Browser, address: str, width: int, height: int, scheme: str = "light"
) -> BrowserContext:
    """Return a browser's context of somebody who has said who they are."""
    context = browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme=scheme,
        reduced_motion="reduce",
        has_touch=width < 600,
    )
    page = context.new_page()
    page.goto(f"{address}/settings")
    page.locator(f'label:has(input[name="who"][value="{FITTER}"])').click()
    page.get_by_role("button", name="Save").click()
    page.wait_for_url("**/")
    page.close()
    return context


def kinds(address: str, context: BrowserContext) -> dict[str, str]:
    """Follow the links of the workshop; return one address for each kind of page."""
    waiting, seen, counted, found = ["/"], {"/"}, Counter[str](), {}
    while waiting:
        path = waiting.pop(0)
        name = named(path)
        counted[name] += 1
        if counted[name] > (MOST_STEPS if "-step-" in name or "gauge" in name else MOST_PAGES):
            continue
        answer = context.request.get(f"{address}{path}")
        kept = "content-disposition" in answer.headers  # a file to keep, not a page
        if not answer.ok or kept or "text/html" not in answer.headers.get("content-type", ""):
            continue
        text = answer.text()
        # What can be sent from a page tells in which state its job and its injector are.
        acts = {
            re.sub(r"[^a-z]+", "-", IDENTITIES.sub("", one)).strip("-").rsplit("-", 1)[-1]
            for one in re.findall(r'<form method="post" action="([^"]+)', text)
        }
        found.setdefault("-".join((name, *sorted(acts - {"job"}))), path)
        for link in re.findall(r'<a\b[^>]*\bhref="(/[^"#]*)', text):
            link = unescape(link)
            if link not in seen and not link.startswith(("/static", "/evidence")):
                seen.add(link)
                waiting.append(link)
    return found


def named(path: str) -> str:
    """Return a name for a page that is alike for pages that differ by their data alone."""
    parts = urlsplit(path)
    query = {k: v[0] for k, v in parse_qs(parts.query).items() if k not in ALIKE}
    name = IDENTITIES.sub("", parts.path) + "".join(
        f"-{k}-{'' if IDENTITIES.search(v) else v}" for k, v in sorted(query.items())
    )
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "jobs"


# -- for the docs ---------------------------------------------------------------------------------


def for_docs(browser: Browser, address: str) -> None:
    """Take the pictures of docs/tutorial/bench-in-the-browser.md and trust-a-rig.md."""
    desk = visitor(browser, address, 1280, 800)
    phone = visitor(browser, address, 390, 780)
    at_desk, at_phone = desk.new_page(), phone.new_page()

    def show(page: Page, path: str, name: str) -> None:
        page.goto(f"{address}{path}")
        page.evaluate("document.fonts.ready")
        keep(page, name)

    in_hand = injector_in_hand(at_desk, address)
    job = in_hand.split("/injector/")[0]
    to_go = waiting_for(at_desk, address, "the hand-over")
    show(at_desk, "/", "jobs")
    at_phone.goto(f"{address}/book-in")
    at_phone.get_by_role("button", name="Next").click()
    keep(at_phone, "book-in")
    show(at_desk, job, "set-at-the-bench")
    show(at_desk, f"{in_hand}/step/slide", "step")
    show(at_phone, f"{in_hand}/step/assemble", "step-on-a-phone")
    show(at_desk, f"{in_hand}/findings?part=spring", "findings")
    practice(at_desk, address)
    at_desk.goto(f"{address}{in_hand}/step/set")
    at_desk.get_by_text("Best prospect").evaluate(TO_THE_TOP)
    keep(at_desk, "step-set")
    show(at_desk, f"{in_hand}/causes", "causes")
    show(at_desk, f"{job}/set", "set")
    at_desk.goto(f"{address}{to_go}/match")
    at_desk.get_by_role("button", name="Work it out").click()
    at_desk.get_by_role("heading", name="How many to touch").evaluate(TO_THE_TOP)
    keep(at_desk, "match")
    show(at_desk, "/rig", "rig")
    at_phone.goto(f"{address}/rig/card?open=limits")
    at_phone.locator("#group-limits").evaluate(TO_THE_TOP)
    keep(at_phone, "rig-card")
    show(at_phone, "/rig/zero", "rig-zero")
    at_desk.goto(f"{address}/rig")
    at_desk.get_by_role("heading", name="Control charts").evaluate(TO_THE_TOP)
    keep(at_desk, "rig-charts")
    show(at_desk, f"{to_go}/hand-over", "hand-over")
    show(at_phone, f"{to_go}/labels", "labels")
    desk.close()
    phone.close()


def injector_in_hand(page: Page, address: str) -> str:
    """Return the address of the injector that is open on a bench."""
    page.goto(address)
    for job in page.locator("a[href^='/job/']").evaluate_all("all => all.map(one => one.pathname)"):
        page.goto(f"{address}{job}")
        go_on = page.get_by_role("link", name=re.compile("^Go on with"))
        if go_on.count():
            return str(go_on.first.get_attribute("href"))
    raise SystemExit("no injector of the demo workshop is in hand")


def waiting_for(page: Page, address: str, what: str) -> str:
    """Return the address of a job that waits for something."""
    page.goto(address)
    job = page.locator("li.job", has_text=f"waits for {what}").locator("a[href^='/job/']")
    return str(job.first.get_attribute("href"))


def practice(page: Page, address: str) -> None:
    """Work the pretend bench by its key until there is something to see."""
    page.goto(f"{address}/practice")
    page.locator("main form button[type=submit]").first.click()
    page.locator("[data-part=link][data-state=live]").wait_for()
    page.locator("#start").click()
    page.locator("#stop").wait_for()
    page.evaluate("document.activeElement.blur()")  # else the key would press the button
    page.keyboard.down("Space")
    page.wait_for_timeout(9000)
    keep(page, "gauge")
    page.keyboard.up("Space")


def keep(page: Page, name: str) -> None:
    """Save a picture of the page, small."""
    path = FOR_DOCS / f"{name}.png"
    page.screenshot(path=path)
    with Image.open(path) as image:
        small = image.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    small.save(path, optimize=True)


if __name__ == "__main__":
    main()
