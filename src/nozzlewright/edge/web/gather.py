"""Gathers texts for the catalogues (``make texts``), beside what Babel finds by itself.

Named in ``locale/babel.cfg`` as extractors: Python with the words of enumerations, which an inner
layer puts into its messages as they are (``nozzlewright.said``), and drawings.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Collection, Iterator, Mapping
from html import unescape
from typing import IO, Any, cast

from babel.messages.extract import extract_python

Found = tuple[int, str | None, Any, list[str]]
"""What an extractor yields: line, function, message or messages, comments."""


def python(
    file: IO[bytes],
    keywords: Mapping[str, Any],
    comment_tags: Collection[str],
    options: dict[str, Any],
) -> Iterator[Found]:
    """Yield the messages of a Python file, and the words of its enumerations.

    Babel loses a ``say`` that stands in a call within another; so all are looked up once more.
    """
    found = extract_python(file, keywords, comment_tags, cast("Any", options))
    yield from cast("Iterator[Found]", found)
    file.seek(0)
    for node in ast.walk(ast.parse(file.read())):
        match node:
            case ast.Call(func=ast.Name(id="say"), args=[ast.Constant(value=str(message)), *_]):
                yield node.lineno, "say", message, []
        if isinstance(node, ast.ClassDef) and any(
            isinstance(base, ast.Name) and base.id == "StrEnum" for base in node.bases
        ):
            for member in node.body:
                value = getattr(member, "value", None)
                if isinstance(member, ast.Assign) and isinstance(value, ast.Constant):
                    yield member.lineno, None, value.value, []


def drawings(
    file: IO[bytes],
    keywords: Mapping[str, Any],  # noqa: ARG001  (Babel hands over all four)
    comment_tags: Collection[str],  # noqa: ARG001
    options: dict[str, Any],  # noqa: ARG001
) -> Iterator[Found]:
    """Yield the words of a drawing: the values of its attributes ``data-msg``."""
    for number, line in enumerate(file.read().decode().splitlines(), 1):
        for text in re.findall(r'data-msg="([^"]+)"', line):
            yield number, None, unescape(text), []
