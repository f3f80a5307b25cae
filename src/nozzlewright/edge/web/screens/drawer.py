"""The shim drawer: which thicknesses there are, and how many of each."""

from __future__ import annotations

import re
from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from nozzlewright.bench import ShimDrawer
from nozzlewright.edge.web import page, show
from nozzlewright.edge.web.at_job import shop_of, who
from nozzlewright.edge.web.texts import _
from nozzlewright.workflow import Workshop

router = APIRouter()

MOST_SIZES = 400
MOST_OF_A_SIZE = 9999
THICKEST_MM = 10.0
_LINE = re.compile(
    r"\s*(?P<size>\d+(?:[.,]\d+)?)\s*(?:mm)?\s*(?:[;\t]|,\s|\s)\s*(?P<count>\d+|∞|\*)\s*[;,]?\s*"
)
_PLAIN = re.compile(r"\s*(?P<size>\d+(?:\.\d+)?)\s*(?:mm)?\s*,\s*(?P<count>\d+|∞|\*)\s*")


@dataclass(frozen=True)
class SizeShown:
    """One size of shim."""

    size_um: int
    words: str
    """Thickness, [mm], as marked."""
    count: int | None
    many: str
    owed: int = 0
    """How many more were fitted than were counted."""


@router.get("/drawer")
def show_drawer(request: Request, size: int = 0, by: int = 1) -> Response:
    """Show what is in the drawer."""
    away = page.needs_person(request)
    if away is not None:
        return away
    shop = shop_of(request)
    drawer = shop.drawer()
    counts = drawer.counts if drawer is not None else {}
    owed = drawer.owed if drawer is not None else {}
    return page.render(
        request,
        "drawer.html",
        counted=drawer is not None,
        sizes=[_shown(one, counts[one], owed.get(one, 0)) for one in sorted(counts)],
        sheets=[] if counts else _sheets(shop),
        last=size,
        last_by=by,
        as_text="\n".join(
            f"{one / 1e3:.3f}; {'*' if counts[one] is None else counts[one]}"
            for one in sorted(counts)
        ),
    )


def _shown(size_um: int, count: int | None, owed: int = 0) -> SizeShown:
    words = show.localised(f"{size_um / 1e3:.3f}".removesuffix("0"))
    many = _("endless") if count is None else str(count)
    return SizeShown(size_um, words, count, many, owed)


def _sheets(shop: Workshop) -> list[tuple[str, str, int]]:
    """Return sheets that list shims: digest, title and number of sizes."""
    found = []
    for row in shop.sheets()[:6]:
        sizes = shop.readers.sheet(row.digest).adjustment.shim_sizes_m
        if sizes:
            found.append((row.digest, row.title, len(sizes)))
    return found


@router.post("/drawer")
def change(request: Request, form: page.Sent) -> Response:
    """Take one more or one less of a size, add a size, or state the whole drawer."""
    shop, person = shop_of(request), who(request)
    step = form.text("step", longest=40)
    if step:
        return _step(request, shop, person, form, step)
    match form.choice("act", ("add", "paste", "sheet")):
        case "add":
            return _add(request, shop, person, form)
        case "paste":
            return _paste(request, shop, person, form)
        case "sheet":
            return _from_sheet(request, shop, person, form)
    form.check()
    return page.back_to(request, "/drawer")


def _step(request: Request, shop: Workshop, person: str, form: page.Form, step: str) -> Response:
    found = re.fullmatch(r"(\d{1,5}):([+-]1)", step)
    there = shop.drawer() or ShimDrawer()
    if found is None or int(found[1]) not in there.counts:
        form.fault(_("this size is not in the drawer"), "step", _("Add it first"))
        form.check()
        return page.back_to(request, "/drawer")
    size, by = int(found[1]), int(found[2])
    count = there.counts[size]
    if count is not None and 0 <= count + by <= MOST_OF_A_SIZE:
        # Who counts one in has looked: what was fitted beyond the count is settled by it.
        shop.change_drawer(form.id, person, {size: by + there.owed.get(size, 0)})
    # Without a fragment: with one, a browser leaves the focus that the page asks for.
    return page.back_to(request, f"/drawer?size={size}&by={by}")


def _add(request: Request, shop: Workshop, person: str, form: page.Form) -> Response:
    size = round(form.number("size_mm", lowest=0.001, highest=THICKEST_MM) * 1e3)
    endless = form.text("endless") == "yes"
    count = None if endless else round(form.number("count", highest=float(MOST_OF_A_SIZE)))
    counts = dict((shop.drawer() or ShimDrawer()).counts)
    if len(counts) >= MOST_SIZES and size not in counts:
        form.fault(
            _("the drawer has as many sizes as can be kept"),
            "size_mm",
            _("State the whole drawer anew, without those that are never used"),
        )
    form.check()
    shop.put_drawer(form.id, person, {**counts, size: count})
    saved = _("Saved: %(size)s mm, %(count)s") % {
        "size": _shown(size, count).words,
        "count": _shown(size, count).many,
    }
    return page.back_to(request, f"/drawer?size={size}", flash=saved)


def _paste(request: Request, shop: Workshop, person: str, form: page.Form) -> Response:
    text = form.text("table", needed=_("the table is empty"), longest=20_000)
    counts: dict[int, int | None] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or (number == 1 and not re.search(r"\d", line)):
            continue  # a heading
        found = _PLAIN.fullmatch(line) or _LINE.fullmatch(line)
        if found is None:
            form.fault(
                _("line %(number)s is not understood: %(line)s")
                % {"number": number, "line": line.strip()[:60]},
                "table",
                _("Write thickness in mm, a semicolon and the number, such as 1.35; 4"),
            )
            continue
        size = round(float(found["size"].replace(",", ".")) * 1e3)
        count = None if found["count"] in "∞*" else int(found["count"])
        if not 0 < size <= THICKEST_MM * 1e3 or (count or 0) > MOST_OF_A_SIZE:
            form.fault(
                _("line %(number)s is out of bounds: %(line)s")
                % {"number": number, "line": line.strip()[:60]},
                "table",
                _("Thickness from 0.001 to 10 mm, number from 0 to 9999"),
            )
            continue
        counts[size] = count
    if len(counts) > MOST_SIZES:
        what = _("the table has %(count)s sizes") % {"count": len(counts)}
        form.fault(what, "table", _("Keep to %(most)s") % {"most": MOST_SIZES})
    if not counts and not form.faults:
        form.fault(_("the table has no line with a number"), "table", _("Such as 1.35; 4"))
    form.check()
    shop.put_drawer(form.id, person, counts)
    saved = _("Saved: %(count)s sizes") % {"count": len(counts)}
    return page.back_to(request, "/drawer", flash=saved)


def _from_sheet(request: Request, shop: Workshop, person: str, form: page.Form) -> Response:
    digest = form.choice("sheet", [row.digest for row in shop.sheets()])
    form.check()
    sizes = shop.readers.sheet(digest).adjustment.shim_sizes_m
    counts = dict((shop.drawer() or ShimDrawer()).counts)
    listed = {round(size * 1e6): 0 for size in sizes[:MOST_SIZES]}
    shop.put_drawer(form.id, person, {**listed, **counts})
    return page.back_to(request, "/drawer", flash=_("Saved. Now count them in"))
