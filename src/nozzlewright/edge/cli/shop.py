"""What the commands on a workshop's record do once their arguments are understood."""

from __future__ import annotations

import argparse
import signal
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

Tell = Callable[[str], None]


def serve(chosen: argparse.Namespace, _: Tell) -> int:
    """Serve a workshop until Ctrl-C."""
    _serve(Path(chosen.folder), chosen)
    return 0


def demo(chosen: argparse.Namespace, tell: Tell) -> int:
    """Make the demo workshop and serve it until Ctrl-C."""
    from nozzlewright.edge.wiring.demo_shop import make_demo_shop

    with _ended_tidily(), tempfile.TemporaryDirectory(prefix="nozzlewright-demo-") as passing:
        folder = Path(chosen.folder or passing)
        # It takes half a minute: a log, too, shall say what it waits for.
        make_demo_shop(folder, tell if sys.stderr.isatty() else _tell_in_lines)
        tell("")
        _serve(folder, chosen)
    return 0


def _tell_in_lines(text: str) -> None:
    print(f"nozzlewright: {text}", file=sys.stderr, flush=True)


@contextmanager
def _ended_tidily() -> Iterator[None]:
    """Let the end of a service or of a terminal stop what is within as Ctrl-C does."""
    ends = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {end: signal.signal(end, signal.default_int_handler) for end in ends}
    try:
        yield
    finally:
        for end, handler in before.items():
            signal.signal(end, handler)


def _serve(folder: Path, chosen: argparse.Namespace) -> None:
    from nozzlewright.edge.web.app import WebSettings
    from nozzlewright.edge.web.serve import serve as serve_screens
    from nozzlewright.edge.web.signed import secret_of
    from nozzlewright.edge.wiring.benches import benches_of
    from nozzlewright.edge.wiring.shop import open_shop

    shop = open_shop(folder)
    try:
        shop.store.records.demand_writable()
        benches, inbox = benches_of(shop.store)
    except BaseException:
        shop.close()
        raise
    try:
        inbox.start()
        for bench in benches.values():
            bench.start()
        serve_screens(
            shop.workshop,
            WebSettings(secret_of(folder / "screens.key")),
            benches,
            inbox,
            host=chosen.host,
            port=chosen.port,
            tell=lambda text: print(text, flush=True),
        )
    finally:
        for bench in benches.values():
            bench.stop()
        inbox.stop()
        shop.close()


def verify(chosen: argparse.Namespace, tell: Tell) -> int:
    """Say what of a record is not as it was taken in."""
    from nozzlewright.edge.wiring.keeping import verify_record

    against = Path(chosen.against) if chosen.against else None
    breaks, entries, head = verify_record(Path(chosen.folder), tell, against)
    tell("")
    for one in breaks:
        print(one)
    if breaks:
        print(f"{len(breaks)} things are not as they were taken in.")
        return 1
    print(f"{entries} entries, all as they were taken in. The last one's digest is {head}")
    if against is not None:
        print(f"They go on from what {against} holds.")
    return 0


def backup(chosen: argparse.Namespace, tell: Tell) -> int:
    """Copy a record while it is in use."""
    from nozzlewright.edge.wiring.keeping import backup_record

    made = backup_record(Path(chosen.folder), Path(chosen.into), tell)
    tell("")
    print(f"{chosen.into}: {made.entries} entries and {len(made.evidence)} files, read back")
    return 0


def restore(chosen: argparse.Namespace, tell: Tell) -> int:
    """Make a record from a backup."""
    from nozzlewright.edge.wiring.keeping import restore_record

    made = restore_record(Path(chosen.backup), Path(chosen.into), tell, chosen.url)
    tell("")
    print(f"{chosen.into}: {made.entries} entries and {len(made.evidence)} files restored")
    return 0
