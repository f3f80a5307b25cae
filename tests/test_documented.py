"""What the docs say is so, and what there is stands in the docs.

The lists come from the program itself: its grammar of commands, its schemas, the report's own
types, the cautions in its source.
"""

from __future__ import annotations

import argparse
import ast
import dataclasses
import importlib.util
import re
import typing
from collections.abc import Iterator
from pathlib import Path

import pytest
from pydantic import BaseModel

from nozzlewright.edge import wiring
from nozzlewright.edge.cli import parser
from nozzlewright.edge.intake.conditions import ConditionsTable
from nozzlewright.edge.intake.set_folder import SetTable
from nozzlewright.report import SetReport, reading_as_data

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
DEMO = ROOT / "demo" / "six-in-line"
PAGES = sorted([*ROOT.glob("*.md"), *DOCS.rglob("*.md"), ROOT / "tests" / "README.md"])


def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def _names(text: str, word: str) -> bool:
    """Tell whether a word stands in a text by itself."""
    return re.search(rf"(?<![\w-]){re.escape(word)}(?![\w-])", text) is not None


# -- links -----------------------------------------------------------------------------------


def _anchors(page: Path) -> set[str]:
    """Return the anchors that headings get where Markdown is usually shown."""
    headings = re.findall(r"^#+ +(.+)$", _text(page), flags=re.MULTILINE)
    plain = (re.sub(r"[^\w\- ]", "", heading.lower()) for heading in headings)
    return {one.strip().replace(" ", "-") for one in plain}


def _links(page: Path) -> Iterator[str]:
    text = re.sub(r"^```.*?^```$", "", _text(page), flags=re.MULTILINE | re.DOTALL)
    yield from re.findall(r"\]\(([^)\s]+)\)", text)
    yield from re.findall(r'(?:src|href)="([^"]+)"', text)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_link_leads_somewhere(page):
    for link in _links(page):
        if re.match(r"[a-z]+:", link):
            continue
        name, _, anchor = link.partition("#")
        target = (page.parent / name).resolve() if name else page
        assert target.exists(), link
        if anchor:
            assert anchor in _anchors(target), link


def test_the_map_of_the_docs_leads_to_every_page():
    mapped = {(DOCS / link).resolve() for link in _links(DOCS / "index.md")}

    for page in DOCS.rglob("*.md"):
        assert page.name == "index.md" or page.resolve() in mapped, page.name


# -- set-up ----------------------------------------------------------------------------------


def test_the_readme_gives_exactly_two_commands_and_they_exist():
    shown = "\n".join(re.findall(r"^```sh\n(.*?)^```$", _text(ROOT / "README.md"), re.M | re.S))
    commands = [line.split("#")[0].strip() for line in shown.splitlines() if line.strip()]
    targets = re.findall(r"^([a-z]+):", _text(ROOT / "Makefile"), flags=re.MULTILINE)

    assert commands == ["make demo", "make test"]
    assert {"demo", "test"} <= set(targets)


def test_the_continuous_integration_runs_the_readmes_test_command():
    assert re.search(r"^make test\b", _text(ROOT / ".ci" / "run"), flags=re.MULTILINE)


def test_pinned_packages_carry_hashes_and_name_no_host():
    for path in (ROOT / "requirements").glob("*.txt"):
        pins = re.findall(r"^[a-zA-Z0-9][^\n]*==[^\n]*(?:\n    --hash[^\n]*)*", _text(path), re.M)
        assert pins
        assert all("--hash=sha256:" in pin for pin in pins)
        assert "://" not in _text(path)


def test_the_version_is_the_newest_in_the_changelog():
    version = re.search(r'^version = "(.+)"$', _text(ROOT / "pyproject.toml"), re.M)
    newest = re.search(r"^## (\S+)", _text(ROOT / "CHANGELOG.md"), re.M)

    assert version
    assert newest
    assert newest[1] == version[1]


# -- the command line ------------------------------------------------------------------------


def _grammars() -> dict[str, argparse.ArgumentParser]:
    top = parser()
    (commands,) = (
        action for action in top._actions if isinstance(action, argparse._SubParsersAction)
    )
    return {"": top, **commands.choices}


@pytest.mark.parametrize("command", list(_grammars()))
def test_every_option_of_the_command_line_is_documented(command):
    page = _text(DOCS / "reference" / "command-line.md")
    if command:
        assert _names(page, command)
    for action in _grammars()[command]._actions:
        for option in action.option_strings or [action.metavar]:
            assert option is None or _names(page, option), option


# -- keys of files that are written by hand ---------------------------------------------------


def _tables_in(annotation: object) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in typing.get_args(annotation):
        yield from _tables_in(inner)


def _keys(table: type[BaseModel]) -> set[str]:
    found = set()
    for name, field in table.model_fields.items():
        found.add(field.alias or name)
        for inner in _tables_in(field.annotation):
            found |= _keys(inner)
    return found


@pytest.mark.parametrize(
    ("schema", "page"),
    [
        pytest.param(ConditionsTable, "bench-conditions.md", id="bench.toml"),
        pytest.param(SetTable, "set-folder.md", id="set.toml"),
    ],
)
def test_every_key_that_can_be_written_is_documented(schema, page):
    text = _text(DOCS / "how-to" / page)
    keys = _keys(schema)

    assert len(keys) > 20
    assert {key for key in keys if not _names(text, key)} == set()


# -- keys of data that are handed out ---------------------------------------------------------


def _keys_of_data(data: object) -> set[str]:
    if isinstance(data, dict):
        return set(data).union(*map(_keys_of_data, data.values()))
    if isinstance(data, list):
        return set().union(*map(_keys_of_data, data))
    return set()


def test_every_key_of_a_readings_data_is_documented():
    page = _text(DOCS / "reference" / "reading-json.md")
    found = set()
    for recording in sorted((DEMO / "recordings").glob("*.csv*")):
        found |= _keys_of_data(reading_as_data(wiring.read_file(recording).findings))

    assert {"opening_pressure", "standard_uncertainty", "not_measured", "lift_off_bar"} <= found
    assert {key for key in found if f"`{key}`" not in page} == set()


def _fields(kind: object) -> set[str]:
    found = set()
    if dataclasses.is_dataclass(kind):
        hints = typing.get_type_hints(kind)
        for field in dataclasses.fields(kind):
            found |= {field.name} | _fields(hints[field.name])
    for inner in typing.get_args(kind):
        found |= _fields(inner)
    return found


def test_every_key_of_a_judgements_data_is_documented():
    page = _text(DOCS / "reference" / "judgement-json.md")
    keys = _fields(SetReport) | {"schema"}

    assert len(keys) > 30
    assert {key for key in keys if f"`{key}`" not in page} == set()


# -- cautions ---------------------------------------------------------------------------------


def _caution_names() -> set[str]:
    """Return every caution that the source can give.

    A name is the first text handed to `Caution` or to what makes one (`note`, `_note`), or the
    first of a pair (name, sentence) that readers gather for them. The pretend bench, the
    record and the screens give none.
    """
    found = set()
    for path in (ROOT / "src").rglob("*.py"):
        if {"simulator", "web", "records"} & set(path.parts):
            continue
        for node in ast.walk(ast.parse(_text(path))):
            if isinstance(node, ast.Call):
                called = getattr(node.func, "id", getattr(node.func, "attr", ""))
                if called in {"Caution", "note", "_note"}:
                    found |= _first_text(node.args[:2])
                elif called == "append" and isinstance(node.args[0], ast.Tuple):
                    found |= _named_sentence(node.args[0])
            elif isinstance(node, ast.Assign) and isinstance(node.value, ast.Tuple):
                found |= _named_sentence(node.value)
    return found


def _unsaid(given: ast.expr) -> ast.expr:
    """Return the text of a message, `say(text, ...)`; anything else as it is."""
    match given:
        case ast.Call(func=ast.Name(id="say"), args=[text]):
            return text
    return given


def _first_text(given: list[ast.expr]) -> set[str]:
    texts = [one.value for one in map(_unsaid, given) if isinstance(one, ast.Constant)]
    return {text for text in texts[:1] if isinstance(text, str) and _is_name(text)}


def _named_sentence(pair: ast.Tuple) -> set[str]:
    if len(pair.elts) != 2:
        return set()
    sentence = _unsaid(pair.elts[1])
    told = isinstance(sentence, ast.JoinedStr | ast.BinOp) or (
        isinstance(sentence, ast.Name) and sentence.id == "text"
    )
    whole = isinstance(sentence, ast.Constant) and " " in str(sentence.value)
    return _first_text(pair.elts[:1]) if told or whole else set()


def _is_name(text: str) -> bool:
    return re.fullmatch(r"[a-z]+(?:-[a-z]+)?(?: [a-z]+){0,3}", text) is not None


def _cautions_in_docs() -> set[str]:
    rows = re.findall(r"^\| (`[^|]+`) \|", _text(DOCS / "reference" / "cautions.md"), re.M)
    return {name for row in rows for name in re.findall(r"`([^`]+)`", row)}


def test_every_caution_is_documented():
    given = _caution_names()

    assert {"clipping", "trapped air", "swapped block", "drift", "truncated file"} <= given
    assert given - _cautions_in_docs() == set()


def test_no_caution_is_documented_that_is_never_given():
    assert _cautions_in_docs() - _caution_names() == set()


# -- the tutorial -----------------------------------------------------------------------------


def _console():
    found = importlib.util.spec_from_file_location("console", DOCS / "console.py")
    module = importlib.util.module_from_spec(found)
    found.loader.exec_module(module)
    return module


@pytest.mark.slow
def test_the_tutorials_commands_print_what_it_shows(tmp_path):
    console = _console()
    folder = console.workplace(tmp_path)
    (page,) = console.PAGES
    shown = console.shown(page)

    assert len(shown) >= 15
    for command, output in shown:
        assert _rounded(console.run(command, folder)) == _rounded(output), command


def _rounded(text: str) -> str:
    """Return the text with unrounded numbers to six digits: the last ones differ by machine."""
    return re.sub(r"\d+\.\d{8,}", lambda found: f"{float(found[0]):.6g}", text)
