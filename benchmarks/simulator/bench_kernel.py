"""How fast the pretend bench is: against the same kernel in C, and against scipy.

Prints, in one run,

- time of the compiled kernel over time of the same kernel in C at -O3 (gcc), same results;
- time of scipy's `solve_ivp` (LSODA, with events) over time of the kernel, at like accuracy of
  the openings;
- simulated seconds per second of a session as it is usually recorded.

Run: python benchmarks/simulator/bench_kernel.py
"""

from __future__ import annotations

import ctypes
import importlib.util
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from nozzlewright.simulator import (
    BenchSetup,
    FastStrokes,
    HoldAt,
    Idle,
    InjectorModel,
    Release,
    RigModel,
    SensorModel,
    SlowStrokes,
    kernel,
    simulate,
)
from nozzlewright.simulator.session import at_rest, parameters, push_segment, rest_segment

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
ROUNDS = 40


def slots_header() -> str:
    """Write the kernel's slots and constants as a C header."""
    lines = []
    for name, value in vars(kernel).items():
        if name.isupper() and isinstance(value, int):
            lines.append(f"#define {name} {value}")
        elif name.isupper() and isinstance(value, float):
            lines.append(f"#define {name} {value!r}")
    return "\n".join([*lines, ""])


def build_c(folder: Path):
    """Compile the C kernel and return it as a function of the same arguments."""
    (folder / "slots.h").write_text(slots_header())
    library = folder / "kernel.so"
    subprocess.run(
        ["gcc", "-O3", "-shared", "-fPIC", f"-I{folder}", "-o", str(library),
         str(HERE / "kernel.c"), "-lm"],
        check=True,
    )  # fmt: skip
    advance = ctypes.CDLL(str(library)).advance
    pointer = ctypes.POINTER(ctypes.c_double)

    def call(par, seg, state, preloads, frictions, sample_times, shown, true, events):
        def at(array):
            return array.ctypes.data_as(pointer)

        return advance(
            at(par), at(seg), at(state), at(preloads), at(frictions),
            ctypes.c_long(len(preloads)), at(sample_times), at(shown), at(true),
            ctypes.c_long(len(sample_times)), at(events), ctypes.c_long(len(events)),
        )  # fmt: skip

    return call


def play(advance, par, injector, segments, rate_hz=1000.0):
    """Run some segments from rest; return seconds needed, state, events, samples."""
    end = segments[-1][kernel.SEG_END]
    times = np.arange(0.0, end, 1.0 / rate_hz)
    shown, true = np.zeros_like(times), np.zeros_like(times)
    events = np.zeros((5000, kernel.N_EVENT))
    state = at_rest(BenchSetup())
    preloads, frictions = np.full(1, injector.preload_n), np.full(1, injector.friction_n)
    start = time.perf_counter()
    for seg in segments:
        advance(par, seg, state, preloads, frictions, times, shown, true, events)
    needed = time.perf_counter() - start
    return needed, state, events[: int(state[kernel.OPENINGS])], true


def best_of(*plays):
    """Interleave the candidates and keep each one's shortest time."""
    shortest = [np.inf] * len(plays)
    for _ in range(ROUNDS):
        for i, one in enumerate(plays):
            shortest[i] = min(shortest[i], one())
    return shortest


def against_c() -> None:
    """Print the ratio to C for a stroke's chatter and for a hold."""
    if shutil.which("gcc") is None:
        print("kernel / C -O3: not measured, because gcc is not installed")
        return
    injector = InjectorModel(friction_n=5.0)
    acts = {
        "chatter, one lump": (RigModel(), [push_segment(0.0, 1.0, 2.0e-6, tremor=0.1)]),
        "chatter, line that rings": (
            RigModel(line_inertance=1.6e8),
            [push_segment(0.0, 1.0, 2.0e-6, tremor=0.1)],
        ),
        "hold": (
            RigModel(),
            [push_segment(0.0, 1.0, 0.2e-6), rest_segment(1.0, 60.0, shut=True)],
        ),
    }
    with tempfile.TemporaryDirectory() as folder:
        in_c = build_c(Path(folder))
        compiled = kernel.compiled()
        for name, (rig, segments) in acts.items():
            par = parameters(BenchSetup(rig), injector, sensor_lag_s=2e-4)
            _, _, events_p, true_p = play(compiled, par, injector, segments)
            _, _, events_c, true_c = play(in_c, par, injector, segments)
            same = len(events_p) == len(events_c) and np.allclose(true_p, true_c, rtol=1e-6, atol=1)
            mine, theirs = best_of(
                lambda par=par, segments=segments: play(compiled, par, injector, segments)[0],
                lambda par=par, segments=segments: play(in_c, par, injector, segments)[0],
            )
            print(
                f"kernel / C -O3, {name}: {mine / theirs:.2f}  ({mine * 1e3:.1f} ms / "
                f"{theirs * 1e3:.1f} ms; {len(events_p)} openings; "
                f"results {'agree' if same else 'DIFFER'})"
            )


def against_scipy() -> None:
    """Print the ratio to solve_ivp with events, with the error of both."""
    found = importlib.util.spec_from_file_location(
        "second_bench", ROOT / "tests" / "simulator" / "second_bench.py"
    )
    second = importlib.util.module_from_spec(found)
    sys.modules["second_bench"] = second
    found.loader.exec_module(second)

    injector = InjectorModel(friction_n=5.0)
    setup = BenchSetup(RigModel(chamber_volume_m3=0.0))
    seg = push_segment(0.0, 0.6, 1.5e-6)
    par = parameters(setup, injector)
    compiled = kernel.compiled()

    def scipy_run(rtol):
        bench = second.SecondBench(setup, injector, lambda t: kernel.lever_flow(seg, t))
        start = time.perf_counter()
        found = bench.run(0.0, 0.6, rtol=rtol)
        return time.perf_counter() - start, found

    _, exact = scipy_run(1e-10)
    _, _, events, _ = play(compiled, par, injector, [seg])
    mine = min(play(compiled, par, injector, [seg])[0] for _ in range(ROUNDS))

    def worst(minimum, times):
        n = min(len(minimum), len(exact.minimum_pa))
        if len(minimum) != len(exact.minimum_pa):
            print(f"  openings differ: {len(minimum)} against {len(exact.minimum_pa)}")
        return (
            max(abs(np.asarray(minimum[:n]) - exact.minimum_pa[:n])) / 1e5,
            max(abs(np.asarray(times[:n]) - exact.time_s[:n])) * 1e6,
        )

    bar, us = worst(events[:, kernel.EV_MINIMUM], events[:, kernel.EV_TIME])
    print(f"kernel: {mine * 1e3:.2f} ms, {len(events)} openings, worst {bar:.4f} bar, {us:.0f} us")
    for rtol in (1e-4, 1e-5, 1e-6, 1e-7):
        needed, got = min((scipy_run(rtol) for _ in range(2)), key=lambda run: run[0])
        bar, us = worst(got.minimum_pa, got.time_s)
        print(
            f"solve_ivp (LSODA, events, rtol {rtol:.0e}) / kernel: {needed / mine:.0f}  "
            f"({needed * 1e3:.0f} ms, worst {bar:.4f} bar, {us:.0f} us)"
        )


def whole_session() -> None:
    """Print how much faster than real time a session is played."""
    script = (Idle(1.0), SlowStrokes(5), FastStrokes(6), HoldAt(155e5, 30.0), Release(2.0))
    sensor = SensorModel(rate_hz=5000.0)
    needed = []
    for _ in range(3):
        start = time.perf_counter()
        session = simulate(BenchSetup(), InjectorModel(), sensor, script, np.random.default_rng(1))
        needed.append(time.perf_counter() - start)
    length = session.time_s[-1]
    print(f"whole session: {length:.0f} s at 5 kHz in {min(needed):.2f} s: "
          f"{length / min(needed):.0f} times real time")  # fmt: skip


if __name__ == "__main__":
    against_c()
    against_scipy()
    whole_session()
