"""``nozzlewright sums``: bench sums on the command line."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from nozzlewright.edge.cli import SAFETY

if TYPE_CHECKING:
    from nozzlewright.bench.sums import Sum, Worked


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the grammar; what a sum asks for is known only once it is named."""
    command = commands.add_parser(
        "sums",
        help="work out a bench sum, in the units of the trade",
        description="Without SUM: list the sums. With SUM alone: say what it asks for. With "
        "VALUES: work it out, such as: nozzlewright sums torque --wanted 60Nm --wrench 300mm "
        '--extension 50mm. A value may say how sure it is: --wanted "60 ± 1 Nm".',
        epilog=SAFETY,
    )
    command.add_argument("--json", action="store_true", help="print data instead of a summary")
    command.add_argument("sum", metavar="SUM", nargs="?", help="name of the sum")
    command.add_argument(
        "values",
        metavar="VALUES",
        nargs=argparse.REMAINDER,
        help="--name value for each input; value and unit in one",
    )


def run(chosen: argparse.Namespace) -> int:
    """List the sums, tell what one asks for, or work it out."""
    from nozzlewright.bench.sums import SUMS, work_out
    from nozzlewright.edge.intake.typed import read_sum
    from nozzlewright.errors import Fault, InputFault

    if chosen.sum is None:
        _list(as_data=chosen.json)
        return 0
    one = SUMS.get(chosen.sum)
    if one is None:
        raise InputFault(
            Fault(
                f"there is no sum '{chosen.sum[:40]}'", "sums", f"Choose one of: {', '.join(SUMS)}"
            )
        )
    typed, as_data, asked = _values(one, chosen.values)
    if asked or not (typed or chosen.values):
        _ask(one)
        return 0
    given, faults = read_sum(one, [(key, text, "", "") for key, text in typed])
    if faults:
        raise InputFault(_for_command(faults))
    try:
        worked = work_out(one, given)
    except InputFault as fault:
        raise InputFault(_for_command(fault.faults)) from None
    if as_data or chosen.json:
        _print_data(as_plain_data(worked))
    else:
        _tell(worked)
    return 0


def _values(one: Sum, rest: Sequence[str]) -> tuple[list[tuple[str, str]], bool, bool]:
    """Return key and text for each input; whether data are wanted; whether help is asked for.

    Not argparse: a length may begin with a minus, and which names there are depends on the sum.
    """
    from nozzlewright.errors import Fault, InputFault

    typed: list[tuple[str, str]] = []
    faults: list[Fault] = []
    as_data = asked = False
    left = list(rest)
    while left:
        word = left.pop(0)
        name, equals, text = word.partition("=")
        if word == "--json":
            as_data = True
        elif word in ("-h", "--help"):
            asked = True
        elif not name.startswith("--"):
            names = ", ".join(f"--{each.key.replace('_', '-')}" for each in one.inputs)
            faults.append(
                Fault(
                    f"'{word[:40]}' stands alone",
                    f"sums {one.key}",
                    f"Write a name before it, one of {names}; quote a value that has a blank",
                )
            )
        elif equals or left:
            typed.append((name[2:].replace("-", "_"), text if equals else left.pop(0)))
        else:
            faults.append(Fault(f"{name[:40]} has no value", f"sums {one.key}", "Write it after"))
    twice = {key for key, _text in typed if [each for each, _ in typed].count(key) > 1}
    faults.extend(
        Fault(f"--{key.replace('_', '-')} is given twice", f"sums {one.key}", "Give it once")
        for key in sorted(twice)
    )
    if faults:
        raise InputFault(faults)
    return typed, as_data, asked


def _for_command(faults: Sequence[Any]) -> list[Any]:
    from nozzlewright.errors import Fault

    return [Fault(one.what, f"--{one.where.replace('_', '-')}", one.remedy) for one in faults]


def _list(*, as_data: bool) -> None:
    from nozzlewright.bench.sums import GROUPS, SUMS

    if as_data:
        _print_data({"sums": {key: str(one.purpose) for key, one in SUMS.items()}})
        return
    for group in GROUPS:
        print(group)
        for one in SUMS.values():
            if one.group == group:
                print(f"  {one.key:<12} {one.purpose}")
    print("\nnozzlewright sums SUM tells what it asks for.")


def _ask(one: Sum) -> None:
    from nozzlewright.measurement import UNITS_OF

    print(f"{one.title}: {one.purpose}")
    for each in one.inputs:
        units = " | ".join(unit.name for unit in UNITS_OF[each.kind] if unit.name)
        units = " | ".join(each.choices) if each.choices else "any unit" if each.free else units
        may = "" if each.needed else " (may be left out)"
        print(f"  --{each.key.replace('_', '-'):<10} {each.name}{may} [{units or 'number'}]")
        print(f"               {each.hint}")
    example = " ".join(f'--{key.replace("_", "-")} "{text}"' for key, text in
                       one.examples[0].typed.items())  # fmt: skip
    print(f"Such as: nozzlewright sums {one.key} {example}")


def _tell(worked: Worked) -> None:
    from nozzlewright.bench.sums import number_in, result_told, taken_told

    one = worked.sum
    print(one.title)
    if one.indication:
        print("An indication, not a promise.")
    wide = max(len(result.output.name) for result in worked.results)
    for result in worked.results:
        value, after, unit = result_told(result)
        said = " ".join(part for part in (value, after, unit) if part)
        amounts = [(other.of_si(result.quantity.value), other) for other in result.others]
        others = [
            f"{number_in(amount)} {other.printed}"
            for amount, other in amounts
            if 1e-3 <= abs(amount) < 1e4
        ][:3]
        print(
            f"  {result.output.name:<{wide}}  {said}" + (f"  ({', '.join(others)})" * bool(others))
        )
    for words in worked.remarks:
        print(f"  ! {words}")
    for each, assumed in worked.taken:
        print(f"  {each.name} taken as {taken_told(assumed, each.kind)}: {assumed.why}")
    print(f"Formula: {one.formula}")
    for words in one.validity:
        print(f"Holds: {words}")
    print(f"Source: {one.source}")
    if one.caution:
        print(f"Take care: {one.caution}")


def as_plain_data(worked: Worked) -> dict[str, Any]:
    """Return a sum that was worked out as plain data, values in SI and as they are told."""
    from nozzlewright.bench.sums import Given, result_told

    one = worked.sum
    results = {}
    for result in worked.results:
        value, after, _unit = result_told(result)
        low, high = result.quantity.coverage_interval
        results[result.output.key] = {
            "name": str(result.output.name),
            "value": result.unit.of_si(result.quantity.value),
            "unit": result.unit.name,
            "told": " ".join(part for part in (value, after) if part),
            "si": result.quantity.value,
            "standard_uncertainty_si": result.quantity.standard_uncertainty,
            "interval_si": [low, high],
        }
    return {
        "sum": one.key,
        "given": {
            key: {"si": value.quantity.value, "unit": value.unit.name}
            if isinstance(value, Given)
            else value
            for key, value in worked.given.items()
        },
        "taken": {each.key: assumed.value for each, assumed in worked.taken},
        "results": results,
        "remarks": [str(words) for words in worked.remarks],
        "formula": str(one.formula),
        "source": str(one.source),
        "validity": [str(words) for words in one.validity],
        "caution": str(one.caution),
        "indication": one.indication,
    }


def _print_data(data: object) -> None:
    from nozzlewright.edge import wiring

    print(wiring.as_json(data, ascii_only=(sys.stdout.encoding or "utf-8").lower() != "utf-8"))
