"""Published agreement of raters.

Cohen with standard errors: output of SAS PROC FREQ quoted in the tests of statsmodels
(``stats/tests/test_inter_rater.py``). Fleiss: J. L. Fleiss, Psychol. Bull. 76 (1971) 378, table 1,
30 patients by 6 psychiatrists, with the output of R irr ``kappam.fleiss`` quoted in the same tests;
the kappas of single categories from irr's manual (from memory). Ten subjects by 14 raters: the
worked example of an encyclopedia's article, its table read in the same tests.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from nozzlewright.analysis.agreement import (
    Kappa,
    Weights,
    cohen_kappa,
    fleiss_kappa,
    grade_kappas,
)

HERE = Path(__file__).parent
TEN_BY_FOURTEEN = np.array([
    [0, 0, 0, 0, 14], [0, 2, 6, 4, 2], [0, 0, 3, 5, 6], [0, 3, 9, 2, 0], [2, 2, 8, 1, 1],
    [7, 7, 0, 0, 0], [3, 2, 6, 3, 0], [2, 5, 3, 2, 2], [6, 5, 2, 1, 0], [0, 2, 2, 3, 7],
])  # fmt: skip
SAS_TABLE = [[0, 4, 1], [0, 8, 0], [0, 1, 5]]


@pytest.fixture(scope="module")
def diagnoses() -> np.ndarray:
    given = np.loadtxt(HERE / "fleiss1971.csv", delimiter=",", dtype=int)
    counts = np.stack([(given == grade).sum(axis=1) for grade in range(1, 6)], axis=1)
    assert counts.sum(axis=0).tolist() == [26, 26, 30, 55, 43]  # margins as printed
    return counts


def test_fleiss_1971_as_irr_prints_it(diagnoses):
    found = fleiss_kappa(diagnoses)

    assert isinstance(found, Kappa)
    assert found.kappa.value == pytest.approx(0.4302445, abs=5e-8)
    assert found.z == pytest.approx(17.65183, abs=5e-6)
    assert str(found.strength) == "moderate"


def test_fleiss_1971_category_by_category(diagnoses):
    # irr's manual, detail=TRUE: depression, personality disorder, schizophrenia, neurosis, other.
    assert grade_kappas(diagnoses) == pytest.approx([0.245, 0.245, 0.520, 0.471, 0.566], abs=5e-4)


def test_ten_subjects_by_fourteen_raters():
    found = fleiss_kappa(TEN_BY_FOURTEEN)

    assert isinstance(found, Kappa)
    assert found.observed == pytest.approx(0.378, abs=5e-4)
    assert found.expected == pytest.approx(0.213, abs=5e-4)
    assert found.kappa.value == pytest.approx(0.210, abs=5e-4)


def test_cohen_as_sas_prints_it():
    found = cohen_kappa(SAS_TABLE)

    assert isinstance(found, Kappa)
    assert found.kappa.value == pytest.approx(0.4842, abs=5e-5)
    assert found.kappa.standard_uncertainty == pytest.approx(0.1380, abs=5e-5)
    assert found.kappa.coverage_interval == pytest.approx((0.2137, 0.7547), abs=5e-5)
    assert found.error_by_chance == pytest.approx(0.1484, abs=5e-5)
    assert found.z == pytest.approx(3.2626, abs=5e-5)
    assert found.p == pytest.approx(0.0011, abs=5e-5)


def test_cohen_with_linear_weights_as_sas_prints_it():
    found = cohen_kappa(SAS_TABLE, Weights.LINEAR)

    assert isinstance(found, Kappa)
    assert found.kappa.value == pytest.approx(0.4701, abs=5e-5)
    # The same output has ASE 0.1457 and limits 0.1845 and 0.7558 (from memory).
    assert found.kappa.standard_uncertainty == pytest.approx(0.1457, abs=5e-5)
    assert found.kappa.coverage_interval == pytest.approx((0.1845, 0.7558), abs=5e-5)


def test_quadratic_weights_are_the_intraclass_correlation_of_the_grades():
    # J. L. Fleiss, J. Cohen, Educ. Psychol. Meas. 33 (1973) 613: an identity in mean squares.
    table = np.array([[12, 3, 1], [2, 9, 4], [0, 5, 14]])
    first, second = np.repeat(np.indices((3, 3)).reshape(2, -1), table.ravel(), axis=1)
    n = first.size
    spread = first.var() + second.var() + (first.mean() - second.mean()) ** 2
    identity = 2.0 * ((first - first.mean()) * (second - second.mean())).sum() / n / spread

    found = cohen_kappa(table, Weights.QUADRATIC)

    assert isinstance(found, Kappa)
    assert found.kappa.value == pytest.approx(identity, abs=1e-12)


@pytest.mark.parametrize(
    ("table", "kappa"),
    [
        pytest.param([[20, 5], [10, 15]], 0.40, id="encyclopedia, 50 proposals (from memory)"),
        pytest.param([[45, 15], [25, 15]], 0.1304, id="encyclopedia, same po, a (from memory)"),
        pytest.param([[25, 35], [5, 35]], 0.2593, id="encyclopedia, same po, b (from memory)"),
    ],
)
def test_cohen_of_two_by_two(table, kappa):
    found = cohen_kappa(table)

    assert isinstance(found, Kappa)
    assert found.kappa.value == pytest.approx(kappa, abs=5e-5)
