"""Somebody at the screen: with the keyboard alone, or with a finger alone.

Both do the same by the words that stand on the screen, and both see when a page is saved.
"""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from playwright.sync_api import ConsoleMessage, Locator, Page

MOST_TABS = 150
"""Tab stops until which a page must lead to what is looked for."""

STOPS_AWAY = """([wanted, group]) => {
    const now = document.activeElement;
    if (now === wanted || (group && now.type === "radio" && now.name === wanted.name)) return 0;
    const names = new Set(), all = [...document.querySelectorAll("*")].filter((one) => {
        if (one.tabIndex < 0 || one.disabled || !one.checkVisibility()) return false;
        if (one.type !== "radio") return true;
        if (names.has(one.name) && one !== wanted && one !== now) return false;
        names.add(one.name);
        return true;
    });
    const from = all.indexOf(now), to = all.indexOf(wanted);
    return to > from ? to - from : 1;
}"""
"""How many stops of the Tab key lie before an element, at a guess; 0: it has the focus."""


class Person:
    """What both can do; ``saved`` are the entries that the screen has shown as saved."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.saved: list[str] = []
        self.told: list[str] = []
        """Errors of the page: of its scripts, and of its policy."""
        page.on("pageerror", lambda error: self.told.append(str(error)))
        page.on("console", self._hear)

    def _hear(self, said: ConsoleMessage) -> None:
        if said.type == "error":
            self.told.append(f"{said.text} {said.location.get('url', '')}")

    # -- each in their own way ----------------------------------------------------------------

    def _press(self, what: Locator) -> None:
        raise NotImplementedError

    def _go_into(self, field: Locator) -> None:
        raise NotImplementedError

    def _open_window(self, field: Locator) -> None:
        raise NotImplementedError

    def _choose(self, option: Locator) -> None:
        raise NotImplementedError

    # -- by the words on the screen -----------------------------------------------------------

    def there(self, found: Locator) -> Locator:
        """Return the first of these that can be seen."""
        found.first.wait_for(state="attached")
        for one in found.all():
            if one.is_visible():
                return one
        raise AssertionError(f"{found} is on the page, but cannot be seen")

    def _named(self, name: str) -> Locator:
        words = re.compile(rf"^\s*{re.escape(name)}")
        return self.page.get_by_role("button", name=words).or_(
            self.page.get_by_role("link", name=words)
        )

    def press(self, name: str) -> None:
        """Press a button or link that stays on this page."""
        self._press(self.there(self._named(name)))

    def go(self, name: str) -> None:
        """Press a button or link, and wait for the page to which it leads."""
        what = self.there(self._named(name))
        with self.page.expect_navigation():
            self._press(what)
        self.look()

    def look(self) -> None:
        """Take in what this page says was saved."""
        self.page.wait_for_load_state()
        of = parse_qs(urlsplit(self.page.url).query)
        self.saved += [one for one in of.get("saved", ()) if one not in self.saved]

    def write(self, label: str, text: str) -> None:
        """Write into a field, in place of what stands there."""
        field = self.there(self.page.get_by_label(label, exact=True))
        self._go_into(field)
        if field.input_value():
            self.page.keyboard.press("Control+a")
        self.page.keyboard.type(text)

    def choose(self, option: str, group: str = "") -> None:
        """Tick one of several, in the group with these words."""
        where = self.page.get_by_role("group", name=re.compile(group)) if group else self.page
        words = re.compile(rf"\b{re.escape(option)}\b")
        tick = where.get_by_role("radio", name=words).or_(where.get_by_role("checkbox", name=words))
        tick.first.wait_for(state="attached")
        self._choose(tick.first)
        assert tick.first.is_checked()

    def unfold(self, words: str) -> None:
        """Open what is folded away."""
        self._press(self.there(self.page.locator("summary", has_text=words)))

    def hand_in(self, label: str, file: Path) -> None:
        """Choose a file in the device's own window."""
        field = self.there(self.page.get_by_label(label, exact=True))
        with self.page.expect_file_chooser() as window:
            self._open_window(field)
        window.value.set_files(file)

    def reads(self, words: str) -> None:
        """See these words on the page."""
        self.page.get_by_text(words).first.wait_for()

    def where(self) -> str:
        """Return the page's address and words, for whoever looks at a failure."""
        return f"at {self.page.url}\n{self.page.locator('body').inner_text()[:3000]}\n{self.told}"

    def text(self) -> str:
        """Return all that the page says."""
        return self.page.locator("main").inner_text()


class AtTheKeyboard(Person):
    """Tab, arrows, Enter and Space; no mouse."""

    def _tab_to(self, what: Locator, same_group: bool = False) -> None:
        wanted = what.element_handle()
        for _ in range(MOST_TABS):
            away = self.page.evaluate(STOPS_AWAY, [wanted, same_group])
            if away == 0:
                return
            # Nearly there without a look, for that takes time; then stop by stop.
            for _ in range(max(away - 3, 1)):
                self.page.keyboard.press("Tab")
        raise AssertionError(f"the keyboard does not come to {what}")

    def _press(self, what: Locator) -> None:
        self._tab_to(what)
        self.page.keyboard.press("Enter")

    def _go_into(self, field: Locator) -> None:
        self._tab_to(field)

    def _open_window(self, field: Locator) -> None:
        self._tab_to(field)
        self.page.keyboard.press("Space")

    def _choose(self, option: Locator) -> None:
        if option.get_attribute("type") == "checkbox":
            self._tab_to(option)
            if not option.is_checked():
                self.page.keyboard.press("Space")
            return
        self._tab_to(option, same_group=True)
        wanted = option.element_handle()
        for _ in range(60):
            if self.page.evaluate("(wanted) => document.activeElement === wanted", wanted):
                break
            self.page.keyboard.press("ArrowDown")
        if not option.is_checked():
            self.page.keyboard.press("Space")


class ByTouch(Person):
    """A finger on the screen; what is typed comes from the screen's own keyboard."""

    def _press(self, what: Locator) -> None:
        what.tap()

    def _go_into(self, field: Locator) -> None:
        field.tap()

    def _open_window(self, field: Locator) -> None:
        field.tap()

    def _choose(self, option: Locator) -> None:
        if not option.is_checked():
            option.locator("xpath=ancestor::label[1]").tap()
