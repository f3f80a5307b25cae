"""Messages in another language and unit: nothing of the English is left, nothing is lost."""

from __future__ import annotations

import ast
import dataclasses
import json
import math
import pickle
import re
from collections.abc import Callable, Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from babel.messages.pofile import read_po
from babel.support import Translations
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.analysis import read_trace
from nozzlewright.bench import StepKind, TipGrade
from nozzlewright.capture import Recording
from nozzlewright.judging.wording import bar, stated
from nozzlewright.measurement import PRESSURE_UNITS, Cause, Caution, NotMeasured, Quantity
from nozzlewright.report import value_text
from nozzlewright.report.wording import limit_text
from nozzlewright.said import (
    PRESSURE_UNITS_PA,
    Figure,
    Said,
    Unit,
    as_data,
    figure,
    from_data,
    in_bar,
    joined,
    reworded,
    say,
    speak,
    word,
)
from nozzlewright.simulator import KINDS, random_session

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src" / "nozzlewright"
LOCALE = SOURCE / "edge" / "web" / "locale"
INNER = ("analysis", "judging", "advice", "report", "measurement", "bench", "physics")
"""Layers whose messages are spoken to people."""


@pytest.fixture(scope="module")
def german() -> Callable[[str], str]:
    return Translations.load(LOCALE, ["de"], "nozzlewright").ugettext


@pytest.fixture(scope="module")
def catalogue() -> Mapping[str, str]:
    with (LOCALE / "de" / "LC_MESSAGES" / "nozzlewright.po").open("rb") as file:
        return {
            message.id: message.string
            for message in read_po(file, locale="de")
            if message.id and isinstance(message.id, str)
        }


@pytest.fixture(scope="module")
def judged() -> Any:
    from nozzlewright.edge.wiring import judge_folder

    return judge_folder(ROOT / "demo" / "six-in-line", date(2026, 1, 20)).judged


@pytest.fixture(scope="module")
def drawn(compiled_bench: None) -> list[Any]:
    """What random sessions of every kind show, with and without the conditions of the bench."""
    found = []
    for number, kind in enumerate(KINDS):
        drawn = random_session(np.random.default_rng(7000 + number), kind)
        seen = np.isfinite(drawn.session.pressure_pa)
        recording = Recording(
            drawn.session.time_s[seen], drawn.session.pressure_pa[seen], kind, "0" * 64
        )
        found.append(read_trace(recording, drawn.conditions))
        found.append(read_trace(recording))
    return found


def texts_of(value: Any) -> Iterator[str]:
    """Yield every string in a tree of dataclasses, mappings and sequences."""
    if isinstance(value, str):
        yield value
    elif dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from texts_of(getattr(value, field.name))
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield from texts_of(key)
            yield from texts_of(item)
    elif isinstance(value, list | tuple):
        for item in value:
            yield from texts_of(item)


def messages_in(text: str) -> Iterator[Said]:
    """Yield a message and those that were put into it."""
    if isinstance(text, Said):
        yield text
        for part in text.arguments.values():
            yield from messages_in(part)


def has_words(template: str) -> bool:
    """Return whether a template says something beside what is put into it."""
    return re.search(r"[^\W\d_]", re.sub(r"\{[^}]*\}", "", template)) is not None


def fields_of(template: str) -> list[str]:
    return sorted(re.findall(r"\{(\w+)[^}]*\}", template))


# -- a judged set in another language ---------------------------------------------------------


def test_every_message_of_the_demo_set_has_a_german_one_with_all_that_was_put_into_it(
    judged, catalogue, german
):
    said = {
        message
        for text in texts_of((judged.report, judged.verdict, judged.advice))
        for message in messages_in(text)
    }

    assert len(said) > 200
    lacking = {one.template for one in said if has_words(one.template)} - {
        template for template, words in catalogue.items() if words
    }
    assert lacking == set()
    for message in said:
        spoken = speak(message, german, "psi", ",")
        for part in message.arguments.values():
            own = speak(part, german, "psi", ",") if type(part) is not str else part
            assert own.lower() in spoken.lower(), message


def test_no_bar_and_no_decimal_point_are_left_where_psi_and_comma_are_asked_for(judged, german):
    for text in texts_of(judged.report):
        for message in messages_in(text):
            own = " ".join(
                part
                for inner in messages_in(message)
                for part in inner.arguments.values()
                if type(part) is str
            )
            spoken = speak(message, german, "psi", ",")
            left = re.findall(r"\bbar\b|\b\d+\.\d+\b", spoken)
            # What a person or a sheet wrote stays; editions of standards are no numbers.
            assert [one for one in left if one not in own and one not in message.template] == []


def test_a_verdict_reads_as_a_german_fitter_would_say_it(judged, german):
    first = judged.verdict.injectors[0]
    reason = first.verdicts[0].reasons[0]

    spoken = speak(reason, german, "bar", ",")

    assert reason.startswith("It opens at ")
    assert re.fullmatch(
        r"Sie öffnet bei \d+,\d\d ± \d,\d\d bar, \d+(,\d+)? bar innerhalb des näheren Grenzwerts; "
        r"Konformitätswahrscheinlichkeit (über )?\d+(,\d)? %\.",
        spoken,
    ), spoken


def test_spoken_in_its_own_language_and_unit_a_message_is_itself(judged, drawn):
    texts = set(texts_of((judged.report, judged.verdict, judged.advice, drawn)))

    assert len(texts) > 500
    for text in texts:
        assert speak(text, str) == text


def test_all_that_a_recording_can_show_is_said_in_german(drawn, catalogue):
    said = {message for text in texts_of(drawn) for message in messages_in(text)}
    lacking = {one.template for one in said if has_words(one.template)} - {
        template for template, words in catalogue.items() if words
    }

    assert len(said) > 250
    assert lacking == set()


def test_cautions_and_reasons_of_a_recording_are_messages_not_bare_strings(drawn):
    def tree(value: Any) -> Iterator[Any]:
        if isinstance(value, Caution | NotMeasured):
            yield value
        if dataclasses.is_dataclass(value):
            for field in dataclasses.fields(value):
                yield from tree(getattr(value, field.name))
        elif isinstance(value, list | tuple):
            for item in value:
                yield from tree(item)

    found = set(tree(drawn))

    assert len(found) > 50
    for one in found:
        for text in texts_of(one):
            assert text == "" or isinstance(text, Said), one


# -- the catalogue ----------------------------------------------------------------------------


def test_every_message_of_the_inner_layers_is_in_the_catalogue(catalogue):
    templates = set()
    for layer in INNER:
        for path in sorted((SOURCE / layer).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_bytes())):
                if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name)):
                    continue
                if node.func.id == "say":
                    template = node.args[0]
                    assert isinstance(template, ast.Constant), f"{path}:{node.lineno}"
                    templates.add(template.value)

    assert len(templates) > 500
    assert templates - {template for template, words in catalogue.items() if words} == set()


def test_a_translation_keeps_the_fields_of_its_message(catalogue):
    wrong = [
        template
        for template, words in catalogue.items()
        if words and "%(" not in template and fields_of(template) != fields_of(words)
    ]

    assert wrong == []


def test_a_translation_keeps_the_standards_and_clauses_of_its_message(catalogue):
    standard = r"(?:ISO|EN|JCGM|ASTM) [A-Z]?[\d-]+(?::\d+)?"
    for template, words in catalogue.items():
        if words:
            assert sorted(re.findall(standard, template)) == sorted(re.findall(standard, words))


# -- a message --------------------------------------------------------------------------------


def test_a_message_is_its_english_text():
    message = say("held at {pressure} for {time} s", pressure=in_bar(12.34e5), time=figure(9.5))

    assert message == "held at 12.3 bar for 9.5 s"
    assert hash(message) == hash("held at 12.3 bar for 9.5 s")
    assert {message: 1}["held at 12.3 bar for 9.5 s"] == 1


def test_a_message_cannot_be_changed():
    message = say("tip {grade}", grade=TipGrade.DRY)

    with pytest.raises(AttributeError, match="cannot be changed"):
        message.template = "tip"
    with pytest.raises(TypeError):
        message.arguments["grade"] = "wet"
    with pytest.raises(AttributeError, match="cannot be changed"):
        Unit("bar").name = "psi"


def test_a_message_that_lacks_what_its_template_names_is_refused():
    with pytest.raises(KeyError, match="grade"):
        say("tip {grade}")


def test_what_people_wrote_is_never_translated():
    backwards = {"as printed: {printed}": "{printed} :detnirp sa", "dry": "yrd"}
    message = say("as printed: {printed}", printed="dry")

    assert speak(message, lambda text: backwards.get(text, text)) == "dry :detnirp sa"


def test_words_of_an_enumeration_are_translated():
    words = {"tip {grade}": "Spitze {grade:capital}", "dry": "trocken", "test": "Prüfung"}

    def german(text: str) -> str:
        return words.get(text, text)

    assert speak(say("tip {grade}", grade=TipGrade.DRY), german) == "Spitze Trocken"
    assert speak(word(StepKind.TEST), german) == "Prüfung"
    assert speak("test", german) == "Prüfung"
    assert speak("", lambda _: "the head of the catalogue") == ""
    assert speak(say(""), lambda _: "the head of the catalogue") == ""


def test_joined_messages_are_each_translated():
    words = {"slow": "langsam", "fast": "schnell"}
    both = joined("; ", [say("slow"), say("fast"), "as he wrote"])

    assert both == "slow; fast; as he wrote"
    assert speak(both, lambda text: words.get(text, text)) == "langsam; schnell; as he wrote"
    assert joined("; ", []) == ""


def test_braces_in_what_people_wrote_do_no_harm():
    message = joined(" ", [say("seen: {what}", what="{0} {what} {{"), "{x"])

    assert message == "seen: {0} {what} {{ {x"
    assert speak(message, str, "psi") == message
    assert from_data(as_data(message)) == message


def test_own_words_can_be_cleaned_without_losing_the_message():
    message = say("oil seen outside: {where}", where="the\x07 nut")

    clean = reworded(message, lambda text: text.replace("\x07", ""))

    assert clean == "oil seen outside: the nut"
    assert isinstance(clean, Said)
    assert clean.template == message.template


def every_sort() -> st.SearchStrategy[str]:
    figures = st.builds(
        figure, st.floats(-1e4, 1e4), st.sampled_from([".0f", ".2f", "+.1f", ".3g"]),
        st.sampled_from(["", "bar", "bar/mm", "mm³/bar"]),
    )  # fmt: skip
    leaves = st.one_of(st.text(max_size=8), figures, st.sampled_from([Unit("bar"), Unit("s")]))
    return st.recursive(
        leaves,
        lambda inner: st.one_of(
            st.builds(lambda a, b: say("{a} and {b}", a=a, b=b), inner, inner),
            st.builds(lambda parts: joined(", ", parts), st.lists(inner, max_size=3)),
        ),
        max_leaves=6,
    )


@given(every_sort())
def test_messages_come_back_from_data_and_pickles_as_they_were(message):
    for back in (
        from_data(json.loads(json.dumps(as_data(message)))),
        pickle.loads(pickle.dumps(message)),  # noqa: S301
    ):
        assert type(back) is type(message)
        assert back == message
        for unit in PRESSURE_UNITS_PA:
            assert speak(back, str, unit, ",") == speak(message, str, unit, ",")


@pytest.mark.parametrize(
    "broken",
    [None, 3, {}, {"said": "{x}", "with": {}}, {"said": "x", "with": 3}, {"figure": "1"},
     {"said": "{x.y}", "with": {"x": 1}}, {"figure": "1", "value": "a", "unit": "", "exact": 0}],
)  # fmt: skip
def test_data_that_are_no_message_are_refused(broken):
    with pytest.raises(ValueError, match="no message can be read"):
        from_data(broken)


# -- numbers in another unit ------------------------------------------------------------------


def number_in(text: str) -> float:
    return float(re.sub(r"[^\d.+-].*$", "", text.replace("−", "-").replace(",", ".")))


@given(
    st.floats(0.01, 2000.0),
    st.sampled_from([".0f", ".1f", ".2f", "+.1f"]),
    st.sampled_from(sorted(PRESSURE_UNITS_PA)),
)
def test_a_pressure_in_another_unit_agrees_within_the_rounding_of_both(value_bar, spec, unit):
    message = in_bar(value_bar * 1e5, spec)
    decimals = int(spec.rstrip("f")[-1])

    back_bar = number_in(speak(message, str, unit, ",")) * PRESSURE_UNITS_PA[unit] / 1e5

    # Half of the last place in the other unit, which is never coarser than the one in bar.
    assert abs(back_bar - value_bar) <= 0.5001 * 10.0**-decimals
    assert speak(message, str, unit).startswith("+") == spec.startswith("+")


@given(st.floats(0.5, 2000.0), st.sampled_from(sorted(PRESSURE_UNITS_PA)))
def test_a_limit_in_another_unit_keeps_five_digits(value_bar, unit):
    spoken = speak(bar(value_bar * 1e5), str, unit)

    back_bar = number_in(spoken) * PRESSURE_UNITS_PA[unit] / 1e5

    exactly = number_in(bar(value_bar * 1e5)) if unit == "bar" else value_bar
    assert math.isclose(back_bar, exactly, rel_tol=0.51e-4)


@given(st.floats(10.0, 500.0), st.floats(0.001, 20.0), st.sampled_from(["MPa", "kgf/cm2", "psi"]))
def test_value_and_interval_in_another_unit_have_one_last_place(value_bar, doubt_bar, unit):
    quantity = Quantity(value_bar * 1e5, "Pa", {Cause("gauge level"): doubt_bar * 1e5})
    for text in (stated(quantity), value_text(quantity).text):
        value, half = re.findall(r"\d+(?:\.\d+)?", speak(text, str, unit))[:2]

        assert len(value.partition(".")[2]) == len(half.partition(".")[2])
        for shown, true in ((value, value_bar), (half, 1.959964 * doubt_bar)):
            off = abs(float(shown) * PRESSURE_UNITS_PA[unit] / 1e5 - true)
            # Two digits of the interval were kept in bar; the other unit is at least as fine.
            assert off <= 0.06 * max(1.959964 * doubt_bar, 0.01)


def test_what_has_a_pressure_below_the_line_goes_the_other_way():
    softness = value_text(Quantity(2.5e-14, "m^3/Pa", {Cause("measured"): 0.05e-14}))
    effect = value_text(Quantity(1e10, "Pa/m", {Cause("shim effect"): 5e8}))

    assert softness.text.replace("\u00a0", " ") == "2.500 ± 0.098 mm³/bar"
    assert speak(softness.text, str, "MPa").replace("\u00a0", " ") == "25.00 ± 0.98 mm³/MPa"
    assert speak(effect.text, str, "psi", ",").replace("\u00a0", " ") == "1450 ± 142 psi/mm"
    assert speak(effect.unit, str, "kgf/cm2") == "kgf/cm²/mm"


def test_a_band_names_its_unit_once_in_every_unit():
    band = limit_text(171e5, 180e5, "Pa")

    assert speak(band, str, "MPa", ",").replace("\u00a0", " ") == "17,1 to 18 MPa"
    assert speak(band, str, "psi").replace("\u00a0", " ") == "2480.1 to 2610.7 psi"


def test_a_true_minus_stays_one_and_nought_has_no_sign():
    assert Figure("−2.50", -2.5, "bar").to("psi") == "−36.3"
    assert Figure("−0.001", -0.00001, "bar").to("kgf/cm2") == "0.000"
    assert Figure("0", 0.0, "bar", exact=True).to("psi") == "0"
    assert Figure("any", math.nan, "bar").to("psi") == "any"


def test_a_unit_that_is_not_known_is_refused():
    with pytest.raises(KeyError, match="furlong"):
        speak(in_bar(1e5), str, "furlong")


def test_the_readers_units_are_those_of_the_trade():
    for name, pascals in PRESSURE_UNITS_PA.items():
        assert PRESSURE_UNITS[name] == pascals
