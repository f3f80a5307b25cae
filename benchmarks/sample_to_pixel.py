"""From a sample to the pixel that shows it: four benches at 1 kHz, all recording, in one server.

A headless Chromium on the same machine shows one of them, then all four. Each sample carries the
time at which the instrument gave it; the page notes when the frame after the one that drew it
begins, which is when it can be seen at the latest. Both clocks are this machine's.

Run: python benchmarks/sample_to_pixel.py [seconds]
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

BENCHES = 4
SECONDS = 20.0
MEDIAN_MS, MOST_MS = 60.0, 200.0
"""What is asked: of the median, and of 99 % of the samples."""
DEMO = Path(__file__).parents[1] / "demo" / "six-in-line"
FITTER = "A. N. Other"
CHROMIUM = "/usr/bin/chromium"

COLLECT = """() => {
  window.drawn = [];
  document.addEventListener("drawn", ({ detail: { first, last, at } }) => {
    window.drawn.push([first, last, at]);
  });
}"""


# -- the server, in a process of its own ----------------------------------------------------------


def serve(folder: Path) -> None:
    """Serve a workshop with four pretend benches until the input ends; print address and path."""
    import uvicorn

    from nozzlewright.edge.intake.live.pretend import PretendInstrument
    from nozzlewright.edge.web.app import WebSettings, create_app
    from nozzlewright.edge.wiring.live import LiveBench
    from nozzlewright.edge.wiring.shop import open_shop
    from nozzlewright.records import AS_FOUND, EntryKind
    from nozzlewright.simulator import (
        FastStrokes,
        HoldAt,
        Idle,
        Release,
        SlowStrokes,
        WorkedBench,
    )
    from nozzlewright.simulator.demo import (
        LATER_K,
        OIL,
        REFERENCE_COMPLIANCE,
        REFERENCE_K,
        RIG,
        SENSOR,
        SOUND,
    )
    from nozzlewright.simulator.models import BenchSetup

    script = (
        Idle(0.5), SlowStrokes(3), FastStrokes(6), HoldAt(165e5, 20.0), Release(1.0),
    )  # fmt: skip
    shop = open_shop(folder / "shop").workshop
    shop.add_person("person", FITTER, FITTER)
    sheet = shop.add_sheet("sheet", FITTER, (DEMO / "sheet.toml").read_bytes())
    conditions = (DEMO / "bench.toml").read_bytes()
    shop.check_rig("rig", FITTER, conditions)
    booked = {"engine": "invented engine", "cylinders": 1, "sheet": sheet, "invented": True}
    job = shop.book_in("booking", FITTER, booked)
    shop.tag("tag", FITTER, job, 1, "D-101")
    story = shop.story(job)
    injector = story.at_cylinder(1).injector
    shop.note("take", FITTER, job, EntryKind.TAKEN_IN_HAND, injector=injector)
    benches = {}
    for number in range(1, BENCHES + 1):
        setup = BenchSetup(RIG, OIL, LATER_K, REFERENCE_K, REFERENCE_COMPLIANCE)
        worked = WorkedBench(setup, SOUND, SENSOR, np.random.default_rng(number))
        worked.advance(0.05, 0.0)
        instrument = PretendInstrument(worked, name=f"pretend gauge {number}")
        bench = LiveBench(
            f"bench {number}",
            lambda instrument=instrument: instrument,
            folder / f"bench-{number}",
            lambda: datetime.now(UTC),
        )
        bench.start()
        while not bench.status().connected:
            time.sleep(0.01)
        known, _ = shop.conditions_now(shop.story(job), AS_FOUND)
        bench.start_recording(f"{job}--{injector}--as-found--{number}", known)
        benches[bench.name] = bench

        def work(instrument: PretendInstrument = instrument) -> None:
            while True:
                instrument.play(script)
                instrument.wait_until_played(600.0)

        threading.Thread(target=work, daemon=True).start()
    app = create_app(shop, WebSettings(secret=bytes(range(32))))
    app.state.benches = benches
    config = uvicorn.Config(
        app, port=0, log_level="warning", access_log=False, ws="websockets-sansio"
    )
    server = uvicorn.Server(config)
    threading.Thread(target=server.run, daemon=True).start()
    while not server.started:
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    print(f"http://127.0.0.1:{port} /job/{job}/injector/{injector}/gauge?step=as-found", flush=True)
    sys.stdin.read()
    os._exit(0)


# -- the measurement ------------------------------------------------------------------------------


def processor_s(processes: list[int]) -> float:
    """Return the processor time that processes have used, [s]."""
    total = 0.0
    for pid in processes:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        total += (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return total


def memory_mb(processes: list[int]) -> float:
    """Return the memory of processes, shared pages counted by share, [MB]."""
    total = 0.0
    for pid in processes:
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
            if line.startswith("Pss:"):
                total += int(line.split()[1]) / 1e3
    return total


def with_children(pid: int) -> list[int]:
    """Return a process and all that it has started."""
    found = Path(f"/proc/{pid}/task").glob("*/children")
    return [
        pid,
        *(
            one
            for path in found
            for child in path.read_text().split()
            for one in with_children(int(child))
        ),
    ]


def latencies_ms(drawn: list[list[float]], interval_s: float = 0.001) -> np.ndarray:
    """Return the time from sample to pixel of every sample, shape (N,), [ms].

    Parameters
    ----------
    drawn : list of [float, float, float]
        Of each frame: time of its first and last new sample, and when it was out, [s]
    interval_s : float
        Between samples, [s]
    """
    found = [
        at - np.arange(last, first - 0.5 * interval_s, -interval_s) for first, last, at in drawn
    ]
    return 1e3 * np.concatenate(found)


def measured(browser, address: str, path: str, pages: int, pid: int, seconds: float) -> str:
    """Return what so many open pages came to, in a line."""
    # Each in a window of its own: of the tabs of one window, only that in front is drawn.
    contexts = [browser.new_context(viewport={"width": 1280, "height": 800}) for _ in range(pages)]
    opened = [context.new_page() for context in contexts]
    for number, page in enumerate(opened, start=1):
        page.goto(f"{address}/settings")
        page.get_by_label(FITTER).first.check(force=True)
        with page.expect_navigation():
            page.get_by_role("button", name="Save").click()
        page.goto(f"{address}{path}&bench=bench%20{number}")
        page.wait_for_selector("[data-part=link][data-state=live]")
    time.sleep(3.0)
    for page in opened:
        page.evaluate(COLLECT)
    server = with_children(pid)
    shown_by = [one for one in with_children(os.getpid()) if one not in (*server, os.getpid())]
    began = time.monotonic()
    used, used_by_browser = processor_s(server), processor_s(shown_by)
    time.sleep(seconds)
    took = time.monotonic() - began
    share = (processor_s(server) - used) / took
    share_of_browser = (processor_s(shown_by) - used_by_browser) / took
    drawn = [page.evaluate("window.drawn") for page in opened]
    frames = sum(map(len, drawn)) / pages / seconds
    late = np.concatenate([latencies_ms(one) for one in drawn])
    for context in contexts:
        context.close()
    median, most = np.quantile(late, (0.5, 0.99))
    kept = "kept" if median <= MEDIAN_MS and most <= MOST_MS else "MISSED"
    return (
        f"{pages} page(s): median {median:.0f} ms, 99 % {most:.0f} ms "
        f"({kept}; asked {MEDIAN_MS:.0f} and {MOST_MS:.0f}), {late.size} samples, "
        f"{frames:.0f} frames/s a page; server {100 * share:.0f} % of a core, "
        f"{memory_mb(server):.0f} MB; browser {100 * share_of_browser:.0f} % of a core; "
        f"load of the machine {os.getloadavg()[0]:.1f}"
    )


def report(seconds: float = SECONDS) -> list[str]:
    """Return the lines of the report."""
    from playwright.sync_api import sync_playwright

    lines = [f"Sample to pixel, {BENCHES} benches at 1 kHz, all recording, {os.cpu_count()} cores"]
    with tempfile.TemporaryDirectory() as folder:
        server = subprocess.Popen(
            [sys.executable, __file__, "--serve", folder],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        try:
            address, path = server.stdout.readline().split()
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(
                    executable_path=CHROMIUM, args=["--no-sandbox"]
                )
                for pages in (1, BENCHES):
                    line = measured(browser, address, path, pages, server.pid, seconds)
                    lines.append(f"  {line}")
                browser.close()
        finally:
            server.stdin.close()
            server.wait(20)
    return lines


if __name__ == "__main__":
    if sys.argv[1:2] == ["--serve"]:
        serve(Path(sys.argv[2]))
    else:
        print(*report(float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS), sep="\n")
