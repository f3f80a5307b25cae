"""``nozzlewright match``: how even a set can be had, for how many reopenings."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from nozzlewright.edge.cli import SAFETY

if TYPE_CHECKING:
    from nozzlewright.advice import Matching, MatchPlan, Purchase


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the grammar."""
    match = commands.add_parser(
        "match",
        help="match a set: which shims where, for how few reopenings",
        description="Read the set in a folder as judge does, and find for each number of "
        "injectors touched the most even set that can be had, all in band first. It is proved "
        "that none is better. Shims now fitted come from set.toml, sizes from the setting sheet.",
        epilog=SAFETY,
    )
    match.add_argument("folder", metavar="FOLDER", help="folder of the set")
    match.add_argument(
        "--drawer",
        metavar="FILE",
        help="shims that there are, with their number (CSV or TOML); default: the sheet's sizes, "
        "as many as wanted",
    )
    match.add_argument(
        "--springs",
        metavar="FILE",
        help="springs measured under one load, fitted and spare (CSV); the word set: those that "
        "set.toml has lengths of change places",
    )
    match.add_argument("--spares", metavar="FILE", help="tested spares (CSV)")
    match.add_argument(
        "--open", metavar="LIST", default="", help="cylinders that may be opened, such as 1,3-5"
    )
    match.add_argument(
        "--work", metavar="N", help="print the plan for N injectors touched; default: the advised"
    )
    match.add_argument(
        "--buy",
        metavar="STEP",
        help="tell what one more shim would gain, of any size in steps of STEP mm; 'sheet' looks "
        "among the sheet's sizes",
    )
    match.add_argument("--json", action="store_true", help="print data instead of a summary")


def run(chosen: argparse.Namespace) -> int:
    """Carry it out; return the exit status."""
    from dataclasses import replace
    from datetime import date
    from pathlib import Path

    from nozzlewright.advice import SettingMeans, case_of, learn, matched, purchase
    from nozzlewright.edge import wiring
    from nozzlewright.edge.intake.match_files import read_drawer, read_spares, read_springs
    from nozzlewright.errors import Fault, InputFault
    from nozzlewright.said import say
    from nozzlewright.workflow.match import sizes_sold, springs_of_set
    from nozzlewright.workflow.setting_record import changes_of_set

    drawer = read_drawer(Path(chosen.drawer)) if chosen.drawer else None
    of_the_set = chosen.springs == "set"
    springs = read_springs(Path(chosen.springs)) if chosen.springs and not of_the_set else None
    spares = read_spares(Path(chosen.spares)) if chosen.spares else ()
    cylinders = _cylinders(chosen.open)
    step = _step(chosen.buy)
    judged = wiring.judge_folder(Path(chosen.folder), date.today()).judged  # noqa: DTZ011
    knowledge = learn(judged.sheet, changes_of_set(judged.engine_set))
    case = case_of(judged.verdict, judged.sheet, SettingMeans(knowledge, drawer))
    if case is None:
        raise InputFault(
            Fault(
                say("the set has no opening pressure, or its sheet no band for it"),
                chosen.folder,
                say("Read the opening pressures, and write the band into the sheet"),
            )
        )
    if of_the_set:
        springs = springs_of_set(judged.engine_set, judged.sheet, case)
        if springs is None:
            raise InputFault(
                Fault(
                    say("no two springs of the set were measured under one load"),
                    "--springs",
                    say("Write spring_mm beside shim_mm of each injector into set.toml"),
                )
            )
    case = replace(
        case,
        springs=springs,
        spares=tuple(
            replace(one, effect=knowledge.effect_of(one.identity))
            if knowledge.known and not knowledge.by_screw
            else one
            for one in spares
        ),
        may_open=case.may_open if cylinders is None else case.may_open & cylinders,
    )
    matching = matched(case)
    plan = _plan(matching, chosen.work)
    bought = None
    if step is not None:
        bought = purchase(matching, sizes_sold(case, judged.sheet, step))
    if chosen.json:
        data = _as_data(matching, plan, bought, asked=step is not None)
        print(wiring.as_json(data, ascii_only=True))
    else:
        print("\n".join(_lines(matching, plan, bought, asked=step is not None)))
    return 0


def _plan(matching: Matching, work: str | None) -> MatchPlan:
    from nozzlewright.errors import Fault, InputFault
    from nozzlewright.said import say

    if work is None:
        return matching.advised
    for plan in matching.front:
        if str(plan.work) == work:
            return plan
    there = ", ".join(str(plan.work) for plan in matching.front)
    raise InputFault(
        Fault(
            say("there is no choice with {work} injectors touched", work=work),
            "--work",
            say("Name one of {numbers}", numbers=there),
        )
    )


def _cylinders(text: str) -> frozenset[int] | None:
    """Return the cylinders of a list such as 1,3-5; None for an empty one."""
    from nozzlewright.errors import Fault, InputFault
    from nozzlewright.said import say

    if not text:
        return None
    found: set[int] = set()
    for part in text.split(","):
        first, _, last = part.strip().partition("-")
        ends = [int(one) for one in (first, last or first) if one.isascii() and one.isdigit()]
        if len(ends) != 2 or not 1 <= ends[0] <= ends[1] <= 64:
            raise InputFault(
                Fault(
                    say("'{text}' is no cylinder", text=part.strip()),
                    "--open",
                    say("Give numbers with commas between, such as 1,3-5"),
                )
            )
        found |= set(range(ends[0], ends[1] + 1))
    return frozenset(found)


def _step(text: str | None) -> int | None:
    """Return the step of what may be bought, [um]; 0: the sheet's sizes; None: nobody asks."""
    from nozzlewright.errors import Fault, InputFault
    from nozzlewright.said import say

    if text is None:
        return None
    if text == "sheet":
        return 0
    try:
        step = float(text.replace(",", "."))
    except ValueError:
        step = 0.0
    if not 0.005 <= step <= 1.0:
        raise InputFault(
            Fault(
                say("'{text}' is no step of shims", text=text),
                "--buy",
                say("Give it in mm, such as 0.05, or the word sheet"),
            )
        )
    return round(step * 1e3)


def _lines(
    matching: Matching, plan: MatchPlan, bought: Purchase | None, *, asked: bool
) -> list[str]:
    """Return the summary."""
    from textwrap import fill

    from nozzlewright.advice.match_words import (
        bench_steps,
        chance_words,
        choice_words,
        proof_words,
        purchase_words,
        work_words,
    )

    lines = ["Choices (touched: what it comes to)"]
    for one in matching.choices:
        mark = "*" if one is matching.advised else " "
        lines.append(f" {mark} {one.work:2d}: {work_words(one)}. {choice_words(one)}")
    lines += ["   * advised", "", f"Plan: {work_words(plan)}"]
    steps = bench_steps(plan)
    for number, step in enumerate(steps, 1):
        lines.append(_wrapped(f"{number:2d}. {step.do}", "    "))
    if not steps:
        lines.append("    Nothing is to be done.")
    lines += ["", _wrapped(f"{choice_words(plan)} {chance_words(plan)} {proof_words(plan)}", "")]
    if steps:
        longest = max((step.caution for step in steps), key=len)
        lines += ["", fill(f"Take care: {longest}", 100)]
    if asked:
        lines += ["", _wrapped(purchase_words(bought), "")]
    return lines


def _wrapped(text: str, indent: str) -> str:
    from textwrap import fill

    return fill(text, 100, subsequent_indent=indent)


def _as_data(
    matching: Matching, plan: MatchPlan, bought: Purchase | None, *, asked: bool
) -> dict[str, Any]:
    """Return the choices as plain data, units in the names."""
    from nozzlewright.advice.match_words import bench_steps

    data: dict[str, Any] = {
        "proven": matching.proven,
        "advised": matching.advised.work,
        "choices": [
            {
                "touched": one.work,
                "opened": one.openings,
                "exchanged": one.exchanges,
                "outside_band": list(one.outside),
                "spread_pa": one.spread_pa,
                "proven": one.proven,
                "gap_pa": one.gap_pa,
                "within_limit": one.within_limit,
                "chance_in_band": one.chances.in_band,
                "chance_within_limit": one.chances.in_limit,
                "spread_95_pa": list(one.chances.spread_pa),
            }
            for one in matching.front
        ],
        "plan": {
            "touched": plan.work,
            "steps": [
                {"cylinder": step.cylinder, "do": str(step.do)} for step in bench_steps(plan)
            ],
            "cylinders": [
                {
                    "cylinder": one.cylinder,
                    "act": one.act.value,
                    "shims_were_mm": [size / 1e3 for size in one.shims_were_um],
                    "shims_mm": [size / 1e3 for size in one.shims_um],
                    "spring_mm": None if one.spring_um is None else one.spring_um / 1e3,
                    "spare": one.spare,
                    "turns": one.turns,
                    "thicker_m": one.thicker_m,
                    "opening_pa": one.predicted.value,
                    "opening_u_pa": one.predicted.standard_uncertainty,
                }
                for one in plan.changes
            ],
        },
    }
    if asked:
        data["purchase"] = None
        if bought is not None:
            data["purchase"] = {
                "shim_mm": bought.size_um / 1e3,
                "spread_pa": bought.plan.spread_pa,
                "touched": bought.plan.work,
            }
    return data
