"""Contrast, themes, targets, and that nothing is fetched from elsewhere."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import pytest

from nozzlewright.edge.web.app import create_app
from nozzlewright.edge.web.page import STATIC, WEB

ROOT = Path(__file__).parents[3]
TOKENS = (STATIC / "tokens.css").read_text(encoding="utf-8")
FOR_TESTS = ROOT / "tests" / "browser" / "vendor"


def _sets() -> list[dict[str, str]]:
    """Return the sets of colours: light, dark as the device, dark as chosen."""
    blocks = re.findall(r":root[^{]*\{(.*?)\}", re.sub(r"/\*.*?\*/", "", TOKENS, flags=re.S), re.S)
    return [dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6})", block)) for block in blocks]


LIGHT, DARK, DARK_CHOSEN = _sets()


def _luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.2, definition)."""
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_reckoned_as_published():
    # Black on white is 21 by the definition; #767676 is the lightest grey of ratio 4.5 on white
    # (WebAIM, Contrast and Color Accessibility).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("tokens", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "desk", "band", "tint"])
def test_text_stands_out_from_every_ground_it_stands_on(tokens, ground):
    # WCAG 2.2, 1.4.3: 4.5 to 1
    for ink in ("ink", "ink-soft", "accent"):
        assert contrast(tokens[ink], tokens[ground]) >= 4.5, ink


@pytest.mark.parametrize("tokens", [LIGHT, DARK], ids=["light", "dark"])
def test_what_can_be_touched_has_an_edge_that_stands_out(tokens):
    # WCAG 2.2, 1.4.11: 3 to 1
    for ground in ("paper", "desk"):
        assert contrast(tokens["edge"], tokens[ground]) >= 3.0
        assert contrast(tokens["accent"], tokens[ground]) >= 3.0
    assert contrast(tokens["on-accent"], tokens["accent"]) >= 4.5
    assert contrast(tokens["cut"], tokens["ink"]) >= 3.0
    for part in ("metal-dark", "metal"):
        assert contrast(tokens["ink"], tokens[part]) >= 3.0


def test_dark_is_the_same_whether_the_device_or_the_person_chose_it():
    assert DARK == DARK_CHOSEN
    assert set(DARK) == set(LIGHT)


def test_no_stylesheet_names_a_colour_of_its_own():
    for path in [*STATIC.glob("*.css")]:
        if path.name in {"tokens.css", "drawings.css"}:
            continue
        text = re.sub(r"/\*.*?\*/", "", path.read_text(encoding="utf-8"), flags=re.S)
        assert re.findall(r"#[0-9a-fA-F]{3,8}\b(?=[^{]*\})|\brgba?\(|\bhsla?\(", text) == [], path


def test_no_template_or_script_holds_what_the_policy_forbids_or_leads_elsewhere():
    files = [*WEB.rglob("templates/*.html"), *STATIC.glob("*.js"), *STATIC.glob("*.css")]
    files += STATIC.glob("*.svg")

    assert len(files) > 8
    for path in files:
        text = path.read_text(encoding="utf-8")
        assert re.search(r"\sstyle=", text) is None, path
        assert re.search(r"<[^>]*\son\w+=", text) is None, path
        assert re.search(r"<script(?![^>]*(src=|application/json))", text) is None, path
        addresses = re.findall(r"(?:https?:)?//[\w.-]+\.\w+[^\s\"')]*", text)
        assert [one for one in addresses if "www.w3.org/" not in one] == [], path


# -- copies that are carried -----------------------------------------------------------------------


@pytest.mark.parametrize("folder", [STATIC / "vendor", FOR_TESTS], ids=["screens", "tests"])
def test_every_copy_is_what_its_manifest_says(folder):
    manifest = json.loads((folder / "MANIFEST.json").read_text(encoding="utf-8"))
    there = {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file() and path.name != "MANIFEST.json"
    }

    assert there == manifest["sha256"]
    for package in {Path(name).parts[0] for name in there}:
        assert f"{package}/LICENSE" in there


def test_what_is_carried_is_pinned_by_hash_and_names_no_host():
    vendor = ROOT / "requirements" / "vendor"
    pins = json.loads((vendor / "package.json").read_text(encoding="utf-8"))["dependencies"]
    lock = json.loads((vendor / "package-lock.json").read_text(encoding="utf-8"))
    locked = {name: one for name, one in lock["packages"].items() if name}

    assert {f"node_modules/{name}": version for name, version in pins.items()} == {
        name: one["version"] for name, one in locked.items()
    }
    assert all(one["integrity"].startswith("sha512-") for one in locked.values())
    assert all("resolved" not in one for one in locked.values())
    carried = [
        json.loads((folder / "MANIFEST.json").read_text(encoding="utf-8"))["packages"]
        for folder in (STATIC / "vendor", FOR_TESTS)
    ]
    assert carried[0] | carried[1] == pins


# -- in a real browser -----------------------------------------------------------------------------


class _Shop:
    def people(self) -> list[str]:
        return ["Ada Example", "Konrad Beispiel"]


@pytest.fixture
def address(serve, web_settings):
    return serve(create_app(_Shop(), web_settings))


@pytest.mark.parametrize("path", ["/settings", "/nothing-here"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_page_is_accessible_at_every_width_and_fetches_nothing_from_elsewhere(
    chromium, axe, sticks_out, address, path, scheme
):
    for width in (360, 1920):
        context = chromium.new_context(
            viewport={"width": width, "height": 800}, color_scheme=scheme, reduced_motion="reduce"
        )
        page = context.new_page()
        asked: list[str] = []
        told: list[str] = []
        page.on("request", lambda request, asked=asked: asked.append(request.url))
        page.on("console", lambda message, told=told: told.append(message.text))
        page.goto(f"{address}{path}")
        found = axe(page)

        assert [one["id"] for one in found["violations"]] == []
        assert len(found["passes"]) > 10
        assert all(url.startswith(address) for url in asked)
        assert [one for one in told if "404" not in one] == []
        assert sticks_out(page) == 0
        assert page.evaluate(_TOO_SMALL) == []
        context.close()


_TOO_SMALL = """
[...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea")]
  .filter((one) => !one.matches(".skip, p a, li a"))
  .filter((one) => {
    const box = one.getBoundingClientRect();
    return box.width < 48 || box.height < 48;
  })
  .map((one) => one.outerHTML.slice(0, 120))
"""


def test_the_figures_of_the_font_are_all_alike_in_width(chromium, address):
    page = chromium.new_page()
    page.goto(f"{address}/settings")
    widths = page.evaluate(
        """async () => {
          await document.fonts.load("600 40px 'Atkinson Hyperlegible Next'", "0123456789");
          const span = document.createElement("span");
          span.className = "figures";
          document.querySelector("main").append(span);
          return [..."0123456789"].map((figure) => {
            span.textContent = figure.repeat(20);
            return span.getBoundingClientRect().width;
          });
        }"""
    )
    loaded = page.evaluate("[...document.fonts].filter((one) => one.status == 'loaded').length")
    page.close()

    assert loaded >= 1
    assert max(widths) - min(widths) < 0.01
    assert min(widths) > 100


def test_settings_can_be_changed_by_keyboard_alone(chromium, address):
    page = chromium.new_page()
    page.goto(f"{address}/settings")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.name") == "theme":
            break
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.wait_for_selector(".flash")

    page.goto(f"{address}/settings")
    assert page.get_attribute("html", "data-theme") == "dark"
    assert page.evaluate("getComputedStyle(document.documentElement).colorScheme") == "dark"
    page.close()


def test_a_held_key_does_not_repeat_and_never_sticks(chromium, address):
    page = chromium.new_page()
    page.goto(f"{address}/settings")
    page.evaluate(
        """async () => {
          const { onKey } = await import("/static/keys.js");
          window.seen = [];
          onKey("pedal", { down: () => seen.push("down"), up: () => seen.push("up") });
        }"""
    )
    page.evaluate("document.activeElement.blur()")
    page.keyboard.down("Space")
    page.keyboard.down("Space")  # as a key that is held repeats
    page.keyboard.up("Space")
    page.keyboard.down("Space")
    page.evaluate("window.dispatchEvent(new Event('blur'))")
    page.keyboard.up("Space")
    assert page.evaluate("seen") == ["down", "up", "down", "up"]

    page.focus("#new_name")
    page.keyboard.press("Space")
    page.focus("button[type=submit]")
    page.keyboard.down("Space")
    assert page.evaluate("seen.length") == 4
    page.close()


def test_what_a_script_sends_is_taken_and_its_faults_are_words(chromium, serve, web_settings):
    app = create_app(_Shop(), web_settings)

    @app.post("/api/echo")
    def echo(body: dict[str, int]) -> dict[str, int]:
        return body

    page = chromium.new_page()
    page.goto(f"{serve(app)}/settings")
    sent = page.evaluate(
        """async () => {
          const { post, newId } = await import("/static/page.js");
          const taken = await post("/api/echo", { drops: 12 });
          const refused = await post("/api/echo", { drops: "many" }).catch((fault) => fault);
          return [taken, refused.message, refused.faults.length, newId()];
        }"""
    )
    page.close()

    assert sent[0] == {"drops": 12}
    assert "valid integer" in sent[1]
    assert sent[2] == 1
    assert re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", sent[3])
