"""A workshop on its real store behind a real server, with somebody at the screen."""

from __future__ import annotations

import re
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx

from nozzlewright.edge.web.app import create_app
from nozzlewright.edge.web.here import COOKIE, Here, to_cookie
from nozzlewright.edge.web.signed import Signer
from nozzlewright.edge.wiring.shop import Shop, open_shop
from nozzlewright.records import JobStory

ROOT = Path(__file__).parents[3]
DEMO = ROOT / "demo" / "six-in-line"
SHEET = (ROOT / "setting_sheets" / "multi-hole.toml").read_bytes()
FITTER = "A. N. Other"
BOOKED = {
    "title": "invented set",
    "engine": "invented pump engine",
    "customer": "invented customer",
    "cylinders": 3,
    "condition": "used",
}


@dataclass
class FrontShop:
    """The shop, and a browser at it."""

    shop: Shop
    browser: Any
    settings: Any

    def __post_init__(self) -> None:
        self.be(Here(who=FITTER))

    @property
    def workshop(self) -> Any:
        return self.shop.workshop

    def be(self, here: Here) -> None:
        """Say who is at the screen, and how they read it."""
        sealed = to_cookie(here, Signer(self.settings.secret))
        self.browser.client.cookies.set(COOKIE, sealed)

    def get(self, path: str) -> str:
        answer = self.browser.get(path)
        assert answer.status_code == 200, answer.text[:2000]
        return answer.text

    def send(self, page: str, to: str = "", files: Any = None, **typed: Any) -> httpx.Response:
        """Open a page and send the form on it that goes to an address, as a browser does."""
        shown = self.get(page)
        to = to or page.partition("?")[0]
        forms = re.findall(r'<form method="post".*?</form>', shown, re.DOTALL)
        own = next(one for one in forms if f'action="{to}"' in one)
        hidden = dict(re.findall(r'<input type="hidden" name="(\w+)"\s+value="([^"]*)"', own))
        return self.browser.client.post(
            to,
            data={**hidden, **typed},
            files=files,
            headers={"Origin": self.browser.address},
        )

    def saved(self, answer: httpx.Response) -> str:
        """Return the page to which a form that was taken leads."""
        assert answer.status_code == 303, answer.text[:3000]
        return self.get(answer.headers["location"])

    def add_sheet(self, text: bytes = SHEET) -> str:
        return self.workshop.add_sheet(str(uuid.uuid4()), FITTER, text)

    def book(self, **more: Any) -> str:
        return self.workshop.book_in(str(uuid.uuid4()), FITTER, {**BOOKED, **more})

    def story(self, job: str) -> JobStory:
        return self.workshop.story(job)

    def check_rig(self, **more: Any) -> None:
        card = (DEMO / "bench.toml").read_bytes()
        self.workshop.check_rig(str(uuid.uuid4()), FITTER, card, **more)


def front(folder: Path, settings: Any, serve: Any, browser: Any, **more: Any) -> FrontShop:
    """Return a shop on a new store, served."""
    shop = open_shop(folder / "store", **more)
    address = serve(create_app(shop.workshop, settings))
    return FrontShop(shop, browser(address), settings)


def beside(text: str, field_name: str) -> str:
    """Return what is said to be wrong beside a field of a page."""
    return " ".join(re.findall(rf'id="fault-{field_name}-\d+">(.*?)</p>', text, re.DOTALL))
