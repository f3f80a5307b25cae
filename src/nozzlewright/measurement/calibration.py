"""Fit of an instrument's calibration: what the reference said against what was shown.

The fit is evaluated as a :class:`Quantity` whose causes are the fit's own independent terms. So
two pressures corrected by one certificate are correlated as the fit says they are, and a
difference between them knows it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nozzlewright.measurement.quantity import Cause, Quantity
from nozzlewright.said import Said, say

_Array = NDArray[np.float64]

TERMS = (say("offset"), say("slope"), say("bend"))
"""Names of the first independent terms of a fit: its height, tilt and curve about the points'
middle; further ones are numbered."""


@dataclass(frozen=True)
class Calibration:
    """Polynomial fitted to calibration points, with its covariance."""

    coefficients: tuple[float, ...]
    """Of 1, x, x^2 ..., [unit / x^n]."""
    covariance: _Array
    """Covariance of the coefficients, shape (K, K)."""
    residual_standard_deviation: float
    """Scatter of the points about the fit; weighted where uncertainties were given, [unit or 1]."""
    degrees_of_freedom: int
    """Points less coefficients."""
    unit: str
    """SI unit of the fitted values."""
    scope: str
    """What the fit belongs to, such as a certificate; names its causes."""
    name: str
    """What was calibrated, with which the names of its causes begin."""
    range: tuple[float, float]
    """Least and greatest x among the points."""
    _root: _Array
    """Upper triangular T with covariance = T T^t: a column for each independent term."""
    by_scatter: bool = False
    """Whether the size of the covariance is that of the scatter, and known no better than it."""

    def value_at(self, x: float) -> float:
        """Return the fitted value at x, [unit]."""
        return float(np.polynomial.polynomial.polyval(x, np.array(self.coefficients)))

    def standard_uncertainty_at(self, x: float) -> float:
        """Return the standard uncertainty of the fitted value at x, [unit]."""
        return math.hypot(*(float(term) for term in self._terms(x)))

    def at(self, x: float) -> Quantity:
        """Return the fitted value at x with its uncertainty split into the fit's terms.

        Raises
        ------
        ValueError
            If x lies outside the calibrated range: a fit says nothing there.
        """
        low, high = self.range
        if not low <= x <= high:
            raise ValueError(f"{x} lies outside the calibrated range, {low} to {high}")
        degrees = float(self.degrees_of_freedom) if self.by_scatter else None
        parts = {
            Cause(
                say("{what}, {term}", what=self.name, term=_term(power)),
                self.scope,
                degrees=degrees,
                rests_on=f"{self.name}, {self.scope}",
            ): float(term)
            for power, term in enumerate(self._terms(x))
        }
        method = say("{name} ({scope})", name=self.name, scope=self.scope)
        return Quantity(self.value_at(x), self.unit, parts, method)

    def _terms(self, x: float) -> _Array:
        powers = x ** np.arange(len(self.coefficients))
        terms: _Array = powers @ self._root
        return terms


def fit_calibration(
    x: ArrayLike,
    y: ArrayLike,
    *,
    degree: int = 1,
    standard_uncertainties: ArrayLike | None = None,
    relative: bool = False,
    unit: str,
    scope: str,
    name: str = say("calibration"),
) -> Calibration:
    """Fit a straight line, or a polynomial, to calibration points.

    Parameters
    ----------
    x : array_like of shape (N,)
        What was shown (or set)
    y : array_like of shape (N,)
        Reference value, or error of indication, at each point, [unit]
    degree : int
        1 for a straight line, 2 where the residuals of a line are bent
    standard_uncertainties : array_like of shape (N,), optional
        Of each y and independent of each other, [unit]. Without them the scatter about the fit is
        taken for it. With them, the covariance follows from them and is enlarged by the Birge
        ratio where the scatter is larger than they allow. Where its size is that of the scatter,
        the causes carry its degrees of freedom.
    relative : bool
        Whether the uncertainties only say how the points weigh against each other: the
        covariance then follows from the scatter about the fit alone, and the residual standard
        deviation is that of a point of average weight, [unit]
    unit : str
        SI unit of y
    scope : str
        Within what the fit's errors are one and the same, such as the number of a certificate
    name : str
        What the names of its causes begin with

    Returns
    -------
    Calibration

    Raises
    ------
    ValueError
        If there are too few points for the degree (one more than coefficients where the
        uncertainty has to come from the scatter), or they are not finite.

    Notes
    -----
    Least squares by QR decomposition (JCGM 100:2008, H.3 for the line). x is taken as exact. That a
    covariance enlarged by the Birge ratio is known with the degrees of freedom of the scatter, and
    goes with Student's factor, is O. Bodnar, C. Elster, Metrologia 51 (2014) 516.

    Examples
    --------
    >>> line = fit_calibration([0.0, 1e7, 2e7, 3e7], [0.0, 2e4, 3e4, 5e4], unit="Pa", scope="C-1")
    >>> f"{line.value_at(1.5e7):.0f} +- {line.standard_uncertainty_at(1.5e7):.0f} Pa"
    '25000 +- 1581 Pa'
    """
    shown = np.asarray(x, dtype=np.float64)
    wanted = np.asarray(y, dtype=np.float64)
    if shown.ndim != 1 or shown.shape != wanted.shape:
        raise ValueError(f"need as many x as y: {shown.shape} and {wanted.shape}")
    if not (np.all(np.isfinite(shown)) and np.all(np.isfinite(wanted))):
        raise ValueError("calibration points must be finite numbers")
    count, terms = shown.size, degree + 1
    by_scatter = standard_uncertainties is None or relative
    needed = terms + (1 if by_scatter else 0)
    if degree < 0 or np.unique(shown).size < terms or count < needed:
        raise ValueError(f"a fit of degree {degree} needs {needed} points, not {count}")

    weight = np.ones(count)
    if standard_uncertainties is not None:
        stated = np.asarray(standard_uncertainties, dtype=np.float64)
        if stated.shape != shown.shape or not np.all(stated > 0.0):
            raise ValueError("each point needs a standard uncertainty above zero")
        # Relative ones are scaled by their geometric mean, so that equal ones leave no trace.
        weight = (float(np.exp(np.mean(np.log(stated)))) if relative else 1.0) / stated

    # Centred and scaled inside, so that a fit in pascals keeps its digits.
    centre, scale = float(np.mean(shown)), float(np.ptp(shown)) / 2.0 or 1.0
    design = np.vander((shown - centre) / scale, terms, increasing=True) * weight[:, None]
    q, r = np.linalg.qr(design)
    scaled = np.linalg.solve(r, q.T @ (wanted * weight))
    left = wanted * weight - design @ scaled
    freedom = count - terms
    scatter = math.sqrt(float(left @ left) / freedom) if freedom else 0.0
    per_term = scatter if by_scatter else max(1.0, scatter)

    back = _powers_from_scaled(centre, scale, terms)
    root = back @ np.linalg.inv(r) * per_term
    return Calibration(
        coefficients=tuple(float(c) for c in back @ scaled),
        covariance=root @ root.T,
        residual_standard_deviation=scatter,
        degrees_of_freedom=freedom,
        unit=unit,
        scope=scope,
        name=name,
        range=(float(shown.min()), float(shown.max())),
        _root=root,
        by_scatter=by_scatter or scatter > 1.0,
    )


def _term(power: int) -> Said:
    return TERMS[power] if power < len(TERMS) else say("term {power}", power=power)


def _powers_from_scaled(centre: float, scale: float, terms: int) -> _Array:
    """Return the matrix that turns coefficients of ((x - centre)/scale)^n into those of x^n."""
    matrix = np.zeros((terms, terms))
    for n in range(terms):
        for k in range(n + 1):
            matrix[k, n] = math.comb(n, k) * (-centre) ** (n - k) / scale**n
    return matrix
