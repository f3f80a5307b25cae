"""Bench tests of mechanical diesel injectors, read, judged and reported.

The map, in the order in which the data flow:

``capture``
    Raw evidence, never altered: recordings and hand readings.
``analysis``
    Evidence to findings: strokes, openings, hold, chatter.
``bench``
    The trade's nouns, findings and the setting sheet among them.
``judging``
    Findings against a setting sheet, uncertainty included.
``advice``
    What the fitter should do next, and why.
``report``
    What is handed over, as plain data.
``workflow``
    One file for each act at the bench.
``edge``
    All that touches disk, screen or paper.

Under all of it lie ``measurement`` (a value with its uncertainty), ``physics`` (formulas in SI)
and ``errors``. Beside it stands ``simulator``, a pretend bench with known truth.
"""
