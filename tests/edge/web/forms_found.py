"""The forms of all pages that can be reached from some, with what can be chosen in them."""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass, field
from html.parser import HTMLParser


@dataclass
class FoundForm:
    """A form that is sent by POST."""

    action: str
    takes_files: bool
    fields: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    """Names, each with the values that stand in the page."""


class _Reader(HTMLParser):
    def __init__(self):
        super().__init__()
        self.forms, self._form, self._select = [], None, ""

    def handle_starttag(self, tag, attributes):
        of = dict(attributes)
        if tag == "form" and of.get("method", "get").lower() == "post":
            self._form = FoundForm(of["action"], of.get("enctype") == "multipart/form-data")
            self.forms.append(self._form)
        if self._form is None:
            return
        if tag == "select":
            self._select = of.get("name") or ""
        name = of.get("name") or (self._select if tag == "option" else "")
        if name:
            self._form.fields[name].add(of.get("value") or "")

    def handle_endtag(self, tag):
        if tag == "form":
            self._form = None


def forms_found(client, first, most=100):
    """Return the forms of all pages that can be reached from the first ones, each kind once."""
    waiting, seen, forms = list(first), set(), []
    while waiting and len(seen) < most:
        path = waiting.pop(0)
        kind = re.sub(r"[0-9a-f-]{36}|[0-9a-f]{64}|saved=\S+", "", path)
        if kind in seen or path.startswith("/static") or "report." in path:
            continue
        seen.add(kind)
        answer = client.get(path)
        if answer.status_code != 200 or "html" not in answer.headers["content-type"]:
            continue
        reader = _Reader()
        reader.feed(answer.text)
        forms += reader.forms
        links = re.findall(r'href="(/[^"#]*)', answer.text)
        waiting += [link.replace("&amp;", "&") for link in links]
    return forms
