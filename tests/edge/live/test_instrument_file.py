from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path

import pytest
from pydantic import BaseModel

from nozzlewright.edge.intake.live import (
    FolderSpec,
    LineInstrument,
    LineSpec,
    ModbusInstrument,
    ModbusSpec,
    open_instrument,
    read_instrument,
)
from nozzlewright.edge.intake.live.instrument_file import INSTRUMENT_TABLES
from nozzlewright.edge.intake.live.modbus import RtuConnection, TcpConnection
from nozzlewright.errors import ConditionsFault

EXAMPLES = Path(str(files("nozzlewright.edge.intake.live") / "examples"))
DOCS = Path(__file__).parents[3] / "docs"
BAR = 1e5


def example(name):
    return (EXAMPLES / name).read_text(encoding="utf-8")


def faults(text):
    with pytest.raises(ConditionsFault) as found:
        read_instrument(text)
    return [(fault.what, fault.where, fault.remedy) for fault in found.value.faults]


def test_every_example_says_what_it_seems_to_say():
    tcp = read_instrument(EXAMPLES / "transmitter-modbus-tcp.toml")
    assert isinstance(tcp, ModbusSpec)
    assert tcp.connection == TcpConnection("192.168.10.20", 502, 1)
    assert (tcp.type, tcp.function, tcp.period_s) == ("float32", 3, 0.001)
    assert tcp.scale.pressure_pa(175.0) == 175 * BAR

    rtu = read_instrument(EXAMPLES / "input-module-modbus-rtu.toml")
    assert isinstance(rtu, ModbusSpec)
    assert rtu.connection == RtuConnection("/dev/ttyUSB0", 115_200, 8, "even", 1, 7)
    assert rtu.scale.pressure_pa(4000) == pytest.approx(0.0, abs=1e-6)
    assert rtu.scale.pressure_pa(20_000) == pytest.approx(400 * BAR)
    assert rtu.scale.pressure_pa(0) != rtu.scale.pressure_pa(0)  # a broken lead

    line = read_instrument(EXAMPLES / "indicator-line.toml")
    assert isinstance(line, LineSpec)
    assert not line.unit_stated
    assert re.search(line.pattern, "P 175.3 bar")["unit"] == "bar"

    folder = read_instrument(EXAMPLES / "logger-folder.toml")
    assert folder == FolderSpec("logger at bench 4", Path("~/recordings").expanduser(), 2.0)
    assert len(list(EXAMPLES.iterdir())) == 4


def test_each_kind_opens_as_its_own_instrument():
    kinds = {
        "transmitter-modbus-tcp.toml": ModbusInstrument,
        "input-module-modbus-rtu.toml": ModbusInstrument,
        "indicator-line.toml": LineInstrument,
    }
    for name, kind in kinds.items():
        spec = read_instrument(EXAMPLES / name)
        instrument = open_instrument(spec)
        assert isinstance(instrument, kind)
        assert instrument.name == spec.name
        instrument.close()


def test_all_faults_of_a_file_come_together_with_their_lines():
    text = example("transmitter-modbus-tcp.toml")
    text = text.replace('"float32"', '"float"').replace("port = 502", "port = 70000")
    text = text.replace('unit = "bar"', 'unit = "atm"').replace("device_id", "unit_id")
    found = faults(text)

    assert len(found) == 4
    joined = "\n".join(" ".join(one) for one in found)
    assert "did you mean 'float32'?" in joined
    assert "must not be more than 65535" in joined
    assert "'atm' may mean two units of pressure" in joined
    assert "'unit_id' is not a key of this table" in joined
    assert all(", line " in where for _, where, _ in found)


@pytest.mark.parametrize(
    ("change", "what", "remedy"),
    [
        (("kind", "kid"), "nothing says what kind", "modbus-tcp, modbus-rtu, line, folder"),
        (('"modbus-tcp"', '"modbus-tpc"'), "is no kind", "did you mean 'modbus-tcp'?"),
        (('"modbus-tcp"', "7"), "7 is no kind", "Use one of"),
        (("register = 0", ""), "'register' is missing", "Add register"),
        (("register = 0", "register = 70001"), "must not be more than 65535", "Check"),
        (("function = 3", "function = 6"), "is not one of", "Use one of"),
        (("[pressure]", "[pressure]\nfactor = 0"), "every reading would be one", "Check factor"),
        (("[pressure]", "[pressure]\nraw = [0, 1]"), "belong together", "Write both"),
        (
            ("[pressure]", "[pressure]\nfactor = 2.0\nraw = [0, 1]\nshows = [0, 4]"),
            "stated twice", "Keep factor and offset, or raw and shows",
        ),
        (
            ("[pressure]", "[pressure]\nraw = [3, 3]\nshows = [0, 4]"),
            "the two raw values are the same", "differ",
        ),
        (("[pressure]", "[pressure]\nvalid_raw = [9, 1]"), "do not rise", "lower one first"),
        (('unit = "bar"', ""), "'unit' is missing", "Add unit"),
        (('unit = "bar"', "unit = 5"), "5 is not a unit", "in quotes"),
    ],
)  # fmt: skip
def test_a_fault_says_what_to_do(change, what, remedy):
    text = "\n".join(
        f"{one}" for one in faults(example("transmitter-modbus-tcp.toml").replace(*change))
    )
    assert what in text
    assert remedy in text


@pytest.mark.parametrize(
    ("pattern", "what", "remedy"),
    [
        ("'(?P<pressure>\\d+'", "not a regular expression", "single quotes"),
        ("'(\\d+)'", "does not say where the pressure stands", "Name it"),
        ("'(?P<pressure>\\d+)'", "in which unit", "(?P<unit>"),
    ],
)
def test_a_pattern_is_tried_before_the_instrument_is(pattern, what, remedy):
    text = re.sub(r"pattern = .*", lambda _: f"pattern = {pattern}", example("indicator-line.toml"))
    ((found, _, say),) = faults(text)
    assert what in found
    assert remedy in say


def test_text_that_is_no_toml_and_a_file_that_is_missing_are_told():
    assert "not valid TOML" in faults("kind = modbus")[0][0]
    with pytest.raises(ConditionsFault, match="no such file"):
        read_instrument(Path("/no/such/file.toml"))


def _keys(table: type[BaseModel]) -> set[str]:
    found = set()
    for name, field in table.model_fields.items():
        if isinstance(field.annotation, type) and issubclass(field.annotation, BaseModel):
            found |= {f"[{name}]"} | _keys(field.annotation)
        else:
            found.add(field.alias or name)
    return found


@pytest.mark.parametrize("kind", list(INSTRUMENT_TABLES))
def test_every_key_of_an_instrument_file_is_documented(kind):
    page = (DOCS / "reference" / "instrument-file.md").read_text(encoding="utf-8")
    keys = _keys(INSTRUMENT_TABLES[kind])

    assert len(keys) >= 4
    assert f"`{kind}`" in page
    assert {key for key in keys if f"`{key}`" not in page} == set()


def test_the_examples_in_the_docs_are_the_ones_that_come_with_the_program():
    page = (DOCS / "how-to" / "connect-a-gauge.md").read_text(encoding="utf-8")
    shown = re.findall(r"^```toml\n(.*?)^```$", page, re.M | re.S)
    shipped = {path.read_text(encoding="utf-8") for path in EXAMPLES.iterdir()}
    assert set(shown) == shipped
