# ruff: noqa: E501  (lines of the page)
"""Write ``docs/reference/bench-sums.md`` from the list of sums itself.

``python docs/bench_sums.py`` writes it anew; a test holds the page against :func:`page`.
"""

from __future__ import annotations

from pathlib import Path

from nozzlewright.bench.sums import GROUPS, SUMS, Input, Sum, taken_told
from nozzlewright.measurement import UNITS_OF

PAGE = Path(__file__).parent / "reference" / "bench-sums.md"

HEAD = """\
# Bench sums

<!-- Written by `python docs/bench_sums.py` from the sums themselves: do not edit by hand. -->

Each sum is a page of the screens (**Sums** in the bar on top) and a [command](command-line.md): `nozzlewright sums NAME --input value`.
The address of a page holds the sum, so that it can be bookmarked, printed and sent.

- Each value is typed with its own unit; results come in the same units, with others beside them.
- `60 ± 1 Nm` says how sure a value is: half of the span in which the truth lies 19 times out of 20. `60 Nm ± 2 %` is of the value.
  The result then carries its own ±: first-order propagation (JCGM 100:2008, 5.1.2), or drawn (JCGM 101:2008) where the sum bends by more than 5 % of the span.
  A lopsided result is told by its two ends.
- Nothing is taken silently: what was left out and is still needed is named with the result.
- Each sum is checked against the examples under it, by the page and by the command alike. Where no printed example was found, it says *derived*.

> None of these sums is a limit. The setting sheet and the engine maker's manual come first.
"""


def _units(one: Input) -> str:
    if one.free:
        return "any"
    if one.choices is not None:
        return ", ".join(f"`{key}`" for key in one.choices)
    return ", ".join(f"`{unit.name}`" for unit in UNITS_OF[one.kind] if unit.name) or "number"


def _input(one: Input) -> str:
    may = "yes" if one.needed else "no"
    if one.taken is not None:
        may = f"no; else {taken_told(one.taken, one.kind)}, {one.taken.why}"
    return f"| `--{one.key.replace('_', '-')}` | {one.name} | {_units(one)} | {may} | {one.hint} |"


def _outputs(one: Sum) -> str:
    if one.inputs[0].free and len(one.inputs) == 1:
        return "every unit of its kind; for a bare `atm` both atmospheres"
    return ", ".join(dict.fromkeys(f"{each.name}" for each in one.outputs))


def _section(one: Sum) -> list[str]:
    lines = [
        f"### {one.title}",
        "",
        f"`nozzlewright sums {one.key}`, page `/sums/{one.key}`. {one.purpose}",
        "",
    ]
    if one.indication:
        lines += ["**An indication, not a promise.**", ""]
    lines += ["| input | what | units | needed | where it is read off |", "|---|---|---|---|---|"]
    lines += [_input(each) for each in one.inputs]
    lines += [
        "",
        f"Tells: {_outputs(one)}.",
        "",
        f"Formula: {one.formula}",
        "",
        f"Source: {one.source}",
        "",
    ]
    lines += [f"- {words}" for words in one.validity]
    if one.caution:
        lines += ["", f"> {one.caution}"]
    lines += ["", "Checked against:", ""]
    for each in one.examples:
        typed = ", ".join(f"{key} {text}" for key, text in each.typed.items())
        gives = ", ".join(
            f"{key.partition(':')[2] or key} {text}" for key, text in each.expected.items()
        )
        lines.append(f"- {each.source}: {typed} → {gives}")
    return [*lines, ""]


def page() -> str:
    """Return the page."""
    lines = [HEAD]
    for group in GROUPS:
        lines += [f"## {group}", ""]
        for one in SUMS.values():
            if one.group == group:
                lines += _section(one)
    return "\n".join(lines)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
