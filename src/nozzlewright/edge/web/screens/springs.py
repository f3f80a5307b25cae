"""The springs on the shelf: lengths measured, how many of each, and for which injectors."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from nozzlewright.bench import ShelfSpring
from nozzlewright.edge.web import entry_words, page
from nozzlewright.edge.web.at_job import shop_of, who
from nozzlewright.edge.web.screens.findings import HARDEST_N, LONGEST_MM, SHORTEST_MM
from nozzlewright.edge.web.texts import _
from nozzlewright.workflow import Workshop
from nozzlewright.workflow.workshop import MOST_OF_A_SIZE

router = APIRouter()

USUAL_OFF_MM = 0.05
"""Half of the 95 % interval of a length where nobody states any: a caliper's; common practice, no
source."""
MOST_KINDS = 60


@dataclass(frozen=True)
class SpringShown:
    """One length of spring."""

    injector: str
    length: str
    many: str
    endless: bool
    owed: int = 0
    """How many more were fitted than were counted."""


@router.get("/springs")
def show_springs(request: Request) -> Response:
    """Show what is on the shelf."""
    away = page.needs_person(request)
    if away is not None:
        return away
    shop = shop_of(request)
    return page.render(
        request,
        "springs.html",
        springs=[_shown(one) for one in shop.spring_shelf()],
        kinds=[(kind, kind) for kind in _kinds(shop)],
    )


def _kinds(shop: Workshop) -> list[str]:
    """Return the injectors for which there is a setting sheet, the last one added first."""
    kinds = [row.injector for row in shop.sheets() if row.injector]
    return list(dict.fromkeys(kinds))[:MOST_KINDS]


def _shown(one: ShelfSpring) -> SpringShown:
    noted = {
        "length_mm": one.length_um / 1e3,
        "length_off_mm": one.off_um / 1e3,
        "load_n": one.load_n,
    }
    many = _("endless") if one.count is None else str(one.count)
    return SpringShown(
        one.injector, entry_words.spring_length(noted), many, one.count is None, one.owed
    )


@router.post("/springs")
def put(request: Request, form: page.Sent) -> Response:
    """State how many springs of one length there are."""
    shop, name = shop_of(request), who(request)
    kind = form.choice("kind", _kinds(shop))
    length = form.number("length_mm", lowest=SHORTEST_MM, highest=LONGEST_MM)
    off = USUAL_OFF_MM
    if form.text("length_off_mm", longest=20):
        off = form.number("length_off_mm", lowest=0.001, highest=1.0)
    load = form.number("load_n", highest=HARDEST_N) if form.text("load_n", longest=20) else 0.0
    count = None
    if form.text("endless", longest=10) != "yes":
        count = round(form.number("count", highest=float(MOST_OF_A_SIZE)))
    form.check()
    spring = ShelfSpring(kind, load, round(length * 1e3), round(off * 1e3, 3), count)
    shop.put_spring(form.id, name, spring)
    shown = _shown(spring)
    saved = _("Saved: %(length)s, %(count)s") % {"length": shown.length, "count": shown.many}
    return page.back_to(request, "/springs", flash=saved)
