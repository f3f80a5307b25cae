"""The only place where parts are joined.

``files``
    Files in, reading, verdict and report out.
``papers``
    Reports, fitting sheets and labels of a job.
``pretend``
    Sessions and the demo set of the pretend bench.
``shop``
    A workshop on its store.
``benches``, ``live``, ``inbox``
    Its benches with an instrument, recordings that wait to be saved, recordings that are files.
``practice``
    Pretend benches that are worked from the screen.
``rig_file``
    The check of a rig by its card, for the command line.
``rig_slips``
    Readings and days that no rig can have given.
``rig_card``, ``sheets``, ``photos``
    The rig's card, setting sheets and photos, as the screens send them.
``keeping``
    Verification, backups and their return.
``demo_shop``, ``demo_studies``
    The demo workshop: an invented shop with sets in all states.
"""

from nozzlewright.edge.wiring.files import (
    BENCH_FILE,
    JudgedFolder,
    Reading,
    Tell,
    as_json,
    judge_folder,
    make_folder,
    plot_reading,
    read_file,
    studies_in,
    write_report,
)
from nozzlewright.edge.wiring.pretend import TRUTH_FILE, simulate_sessions, write_demo_set

__all__ = [
    "BENCH_FILE",
    "TRUTH_FILE",
    "JudgedFolder",
    "Reading",
    "Tell",
    "as_json",
    "judge_folder",
    "make_folder",
    "plot_reading",
    "read_file",
    "simulate_sessions",
    "studies_in",
    "write_demo_set",
    "write_report",
]
