"""The drawings go into pages under a strict content policy, and a gloved finger taps them."""

from __future__ import annotations

import itertools
import re
from importlib import resources
from xml.etree import ElementTree as ET

import pytest

STATIC = resources.files("nozzlewright.edge.web") / "static"
DRAWINGS = {
    file.name.removesuffix(".svg"): ET.fromstring(file.read_text(encoding="utf-8"))  # noqa: S314
    for file in (STATIC / "drawings").iterdir()
    if file.name.endswith(".svg")
}
SVG = "{http://www.w3.org/2000/svg}"
PARTS = {
    "cap",
    "cap-washer",
    "lock-nut",
    "adjusting-screw",
    "inlet-union",
    "inlet-filter",
    "leak-off-union",
    "holder-body",
    "shim",
    "spring",
    "spindle",
    "distance-piece",
    "dowels",
    "needle",
    "nozzle-body",
    "nozzle-nut",
    "seat-washer",
    "seals",
}
WANTED = {
    "exploded",
    "assembled",
    "jig",
    "caution",
    "mark",
    *(f"tip-{grade}" for grade in ("dry", "damp", "drop")),
    *(f"spray-pintle-{form}" for form in ("good", "poor")),
    *(f"spray-holes-{form}" for form in ("good", "choked", "stream")),
    "spray-dribble",
    *(
        f"step-{act}"
        for act in (
            *("book", "wash", "strip", "clean", "inspect", "slide"),
            *("flush", "assemble", "torque", "bleed", "set", "seat"),
            *("drop", "spray", "chatter", "match", "second", "pack"),
        )
    ),
}
PHONE_PX = 360.0  # narrowest screen the bench is made for
FINGER_PX = 48.0  # smallest target for an oily glove (common practice, no source)


def every_drawing(check):
    return pytest.mark.parametrize("name", sorted(DRAWINGS))(check)


def box(rect: ET.Element) -> tuple[float, float, float, float]:
    x, y, width, height = (float(rect.attrib[key]) for key in ("x", "y", "width", "height"))
    return x, y, x + width, y + height


def parts() -> dict[str, ET.Element]:
    found = [g for g in DRAWINGS["exploded"].iter(f"{SVG}g") if g.get("class") == "part"]
    keys = [g.attrib["data-part"] for g in found]
    assert len(keys) == len(set(keys)), "a part is drawn twice"
    return dict(zip(keys, found, strict=True))


def hit_area(part: ET.Element) -> tuple[float, float, float, float]:
    (rect,) = (r for r in part.iter(f"{SVG}rect") if r.get("class") == "part-hit")
    assert rect.get("fill") == "transparent", "fill='none' takes no tap"
    return box(rect)


def test_every_picture_the_bench_shows_is_drawn():
    assert set(DRAWINGS) == WANTED


@every_drawing
def test_a_drawing_says_in_words_what_it_shows(name):
    drawing = DRAWINGS[name]
    for tag in ("title", "desc"):
        (text,) = drawing.findall(f"{SVG}{tag}")
        assert text.text
        assert text.get("data-msg") == text.text
    assert len(drawing.attrib["viewBox"].split()) == 4
    # An image hides its inside from a screen reader; the one with buttons in it must not.
    assert drawing.get("role") == ("group" if name == "exploded" else "img")


@every_drawing
def test_a_drawing_carries_nothing_that_a_strict_content_policy_refuses(name):
    for element in DRAWINGS[name].iter():
        assert element.tag.removeprefix(SVG) in {
            *("svg", "title", "desc", "g", "path", "rect", "circle", "ellipse", "text")
        }
        for key, value in element.attrib.items():
            assert key != "style"
            assert not key.startswith("on")
            assert "href" not in key
            assert "url(" not in value
            # Several drawings share one page: an id would soon be there twice.
            assert key != "id"


@every_drawing
def test_a_drawing_takes_its_colours_from_the_classes_of_the_stylesheet(name):
    style = (STATIC / "drawings.css").read_text(encoding="utf-8")
    ruled = set(re.findall(r"\.([a-z][a-z-]*)", style))
    for element in DRAWINGS[name].iter():
        classes = set(element.get("class", "").split())
        assert classes <= ruled
        # The two signs look the same on every ground; else a paint needs a class to follow it.
        if name in {"caution", "mark"} or element.get("fill") in {None, "none", "transparent"}:
            continue
        assert any(c.startswith("fill-") or c == "label" for c in classes)


@every_drawing
def test_every_word_in_a_drawing_can_be_translated(name):
    for text in DRAWINGS[name].iter(f"{SVG}text"):
        assert text.get("class") == "label"
        assert text.get("data-msg") == text.text or text.text in {"⅓", "⅔"}


def test_every_part_of_the_injector_can_be_chosen_once():
    assert set(parts()) == PARTS


@pytest.mark.parametrize("key", sorted(PARTS))
def test_a_part_is_a_button_with_its_name_beside_it(key):
    part = parts()[key]
    assert part.get("role") == "button"
    assert part.get("tabindex") == "0"
    (label,) = part.iter(f"{SVG}text")
    assert label.text == part.get("aria-label") == part.get("data-msg")


@pytest.mark.parametrize("key", sorted(PARTS))
def test_a_gloved_finger_can_hit_a_part_on_a_phone(key):
    width = float(DRAWINGS["exploded"].attrib["viewBox"].split()[2])
    left, top, right, bottom = hit_area(parts()[key])
    assert (bottom - top) * PHONE_PX / width >= FINGER_PX
    assert (right - left) * PHONE_PX / width >= FINGER_PX
    assert left >= 0
    assert right <= width


def test_a_tap_never_means_two_parts():
    areas = {key: hit_area(part) for key, part in parts().items()}
    for (one, a), (other, b) in itertools.combinations(areas.items(), 2):
        apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
        assert apart, f"{one} and {other} overlap"


def test_the_parts_follow_each_other_as_they_come_off_the_injector():
    on_the_axis = (
        *("cap", "cap-washer", "lock-nut", "adjusting-screw", "shim", "spring", "spindle"),
        *("holder-body", "distance-piece", "dowels", "needle", "nozzle-body", "nozzle-nut"),
        "seat-washer",
    )
    tops = [hit_area(parts()[key])[1] for key in on_the_axis]
    assert tops == sorted(tops)
