"""The screens' texts in every language, values in every unit, and numbers as people type them."""

from __future__ import annotations

import io
import math
import re
import string
import tomllib
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from babel.messages.extract import DEFAULT_KEYWORDS, extract_from_dir
from babel.messages.frontend import parse_mapping_cfg
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.support import Translations
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.edge.web import page, show, texts
from nozzlewright.edge.web.here import LANGUAGES, PRESSURE_UNITS, Here
from nozzlewright.errors import InputFault
from nozzlewright.measurement import Cause, NotMeasured, Quantity
from nozzlewright.measurement.units import PRESSURE_UNITS as PA_IN
from nozzlewright.said import say

ROOT = Path(__file__).parents[3]
SOURCE = ROOT / "src" / "nozzlewright"
SECOND = sorted(set(LANGUAGES) - {"en"})


@pytest.fixture
def read_as():
    """Sets who reads, for the test."""
    tokens = []

    def read(**how: str) -> None:
        tokens.append(texts.HERE.set(Here(**how)))

    yield read
    for token in reversed(tokens):
        texts.HERE.reset(token)


def _po(language: str) -> Path:
    return texts.LOCALE / language / "LC_MESSAGES" / f"{texts.DOMAIN}.po"


def _catalogue(language: str):
    with _po(language).open("rb") as file:
        return read_po(file, locale=language)


def _in_the_source() -> set[str | tuple[str, ...]]:
    with (texts.LOCALE / "babel.cfg").open(encoding="utf-8") as file:
        methods, options = parse_mapping_cfg(file)
    found = extract_from_dir(
        SOURCE, methods, options, keywords={**DEFAULT_KEYWORDS, "N_": None, "say": None}
    )
    return {message for _file, _line, message, _comments, _context in found}


# -- catalogues ------------------------------------------------------------------------------------


@pytest.mark.parametrize("language", SECOND)
def test_the_catalogue_holds_the_texts_of_the_source_and_no_others(language):
    held = {message.id for message in _catalogue(language) if message.id}

    assert held == _in_the_source(), "run `make texts`"


@pytest.mark.parametrize("language", SECOND)
def test_every_text_is_translated(language):
    lacking = [
        message.id
        for message in _catalogue(language)
        if message.id
        and (
            message.fuzzy
            or not all([message.string] if isinstance(message.string, str) else message.string)
        )
    ]

    assert lacking == []


@pytest.mark.parametrize("language", SECOND)
def test_a_translation_has_the_fields_of_its_text(language):
    wrong = []
    for message in _catalogue(language):
        ids = [message.id] if isinstance(message.id, str) else list(message.id)
        done = [message.string] if isinstance(message.string, str) else list(message.string)
        allowed = set().union(*(_fields(one) for one in ids))
        wrong += [one for one in done if message.id and one and _fields(one) != allowed]

    assert wrong == []


def _fields(text: str) -> set[str]:
    named = set(re.findall(r"%\((\w+)\)", text))
    try:
        return named | {
            name for _text, name, _spec, _conv in string.Formatter().parse(text) if name
        }
    except ValueError:  # braces that are no fields
        return named


@pytest.mark.parametrize("language", SECOND)
def test_the_compiled_catalogue_is_that_of_its_source(language):
    fresh = io.BytesIO()
    write_mo(fresh, _catalogue(language))
    fresh.seek(0)
    compiled = _po(language).with_suffix(".mo")

    with compiled.open("rb") as file:
        assert Translations(file)._catalog == Translations(fresh)._catalog, "run `make texts`"


def test_the_catalogues_come_with_the_package():
    built = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))

    assert built["tool"]["hatch"]["build"]["targets"]["wheel"]["packages"] == ["src/nozzlewright"]
    ignored = (ROOT / ".gitignore").read_text(encoding="utf-8")
    assert "*.mo" not in ignored


def test_a_text_is_read_in_the_language_of_the_screen(read_as):
    assert texts.gettext("Saved") == "Saved"
    read_as(language="de")
    assert texts.gettext("Saved") == "Gespeichert"
    assert texts.gettext("") == ""


def test_the_words_of_a_drawing_are_read_in_the_language_of_the_screen(read_as, monkeypatch):
    english = page.drawing("exploded")
    monkeypatch.setattr(texts, "gettext", lambda text: f"<{text}>")
    page._drawing.cache_clear()
    read_as(language="de")
    foreign = page.drawing("exploded")
    page._drawing.cache_clear()

    name = re.search(r'aria-label="([^"]+)"', english)[1]
    assert f'aria-label="&lt;{name}&gt;"' in foreign
    with pytest.raises(ValueError, match="no name of a drawing"):
        page.drawing("../secret")


# -- values ----------------------------------------------------------------------------------------


def _plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("unit", "shown"),
    [
        ("bar", "174.9 bar"),
        ("MPa", "17.49 MPa"),
        ("kgf/cm2", "178.4 kgf/cm²"),  # 17.494 MPa / 98 066.5 Pa
        ("psi", "2537 psi"),  # 17.494 MPa / 6894.757 Pa
    ],
)
def test_a_pressure_is_shown_in_the_unit_of_the_screen(read_as, unit, shown):
    read_as(pressure_unit=unit)

    assert _plain(show.pressure(17.494e6)) == shown
    assert _plain(show.pressure(17.494e6, "bar")) == "174.9 bar"


def test_a_measured_pressure_keeps_its_interval_in_each_unit(read_as):
    opening = Quantity(174.938e5, "Pa", {Cause("gauge level"): 0.2341e5})

    assert _plain(show.pressure(opening)) == "174.94 ± 0.46 bar"
    read_as(pressure_unit="MPa", language="de")
    assert _plain(show.pressure(opening)) == "17,494 ± 0,046 MPa"


def test_what_was_not_measured_says_why_and_is_never_a_number(read_as):
    lacking = NotMeasured(say("the tip dripped"))

    for shown in (show.pressure(lacking), show.seconds(lacking)):
        assert "not measured, because the tip dripped" in shown
        assert not re.search(r"\d", shown)
    assert show.pressure(None) == "–"


def test_a_time_is_shown_with_the_decimal_sign_of_the_language(read_as):
    assert _plain(show.seconds(6.24)) == "6.2 s"
    assert _plain(show.seconds(Quantity(6.2, "s", {Cause("stopwatch"): 0.1}))) == "6.20 ± 0.20 s"
    read_as(language="de")
    assert _plain(show.seconds(6.24)) == "6,2 s"


def test_a_moment_is_shown_in_the_zone_of_the_shop(read_as):
    moment = datetime(2026, 1, 31, 23, 30, tzinfo=UTC)
    zone = ZoneInfo("Europe/Berlin")  # UTC+1 in January

    assert ">1 Feb 2026, 00:30<" in show.when(moment, zone)
    assert 'datetime="2026-01-31T23:30:00+00:00"' in show.when(moment, zone)
    assert ">00:30<" in show.when(moment, zone, "time")
    read_as(language="de")
    assert ">01.02.2026<" in show.when(moment, zone, "day")  # DIN 5008, dates by numbers


# -- what people type ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "unit", "pa"),
    [
        ("174.5", "bar", 174.5e5),
        ("174,5", "bar", 174.5e5),
        (" 175 ", "kgf/cm2", 175 * 98_066.5),
        ("17.2 MPa", "bar", 17.2e6),
        ("2500psi", "bar", 2500 * PA_IN["psi"]),
        ("175 kg/cm²", "bar", 175 * 98_066.5),
        (",5", "MPa", 0.5e6),
        ("175.", "bar", 175e5),
        ("0", "psi", 0.0),
        ("١٧٥", "bar", 175e5),
    ],
)
def test_a_typed_pressure_is_understood(typed, unit, pa):
    assert math.isclose(show.parse_pressure(typed, unit), pa, rel_tol=1e-12)


@pytest.mark.parametrize(
    "typed",
    ["", " ", "17O", "1.234,5", "1,2,3", "12 13", "-5", "1e3", "nan", "inf", "²", "5 horses",
     "20000", "175 bar bar", "bar", "\0"],
)  # fmt: skip
def test_what_is_no_pressure_is_told_with_what_to_do(typed):
    with pytest.raises(InputFault) as told:
        show.parse_pressure(typed, "bar", "opening")

    (fault,) = told.value.faults
    assert fault.where == "opening"
    assert fault.what
    assert fault.remedy


@given(st.floats(0.0, 9_000.0), st.sampled_from(sorted(PRESSURE_UNITS)), st.booleans())
def test_a_pressure_that_is_shown_can_be_typed_back(bar, unit, comma):
    shown = show.pressure_number(bar * 1e5, unit)
    typed = shown.replace(".", ",") if comma else shown

    back_pa = show.parse_pressure(typed, unit)
    assert abs(back_pa - bar * 1e5) <= 0.5001 * 10 ** -show.DECIMALS[unit] * PA_IN[unit] + 1e-6


@given(st.text(max_size=30))
def test_whatever_is_typed_is_a_pressure_or_a_fault(text):
    faults: tuple = ()
    pressure_pa = -1.0
    try:
        pressure_pa = show.parse_pressure(text, "bar")
    except InputFault as told:
        faults = told.faults

    assert all(fault.what and fault.remedy for fault in faults)
    assert bool(faults) != (0.0 <= pressure_pa <= show.HIGHEST_PA * (1 + 1e-12))


@given(st.text(max_size=40))
def test_whatever_an_address_holds_it_never_leads_elsewhere(text):
    for path in (text, f"/{text}"):
        if page.is_local(path):
            assert path.startswith("/")
            assert not path.startswith(("//", "/\\"))
            assert not re.search(r"[\x00-\x20\\]", path)
