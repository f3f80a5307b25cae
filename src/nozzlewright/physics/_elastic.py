"""Elastic growth of round parts under pressure (Lame)."""

from __future__ import annotations

import numpy as np

from nozzlewright.physics._arguments import require_not_negative, require_positive

STEEL_YOUNGS_MODULUS_PA = 2.1e11
"""Young's modulus of steel, [Pa]; from memory."""
STEEL_POISSON_RATIO = 0.3
"""Poisson's ratio of steel, [1]; from memory."""


def bore_growth_per_pa(inner: float, outer: float, youngs: float, poisson: float) -> float:
    """Return the growth of a bore's radius for each Pa inside it (Lame, free ends), [m/Pa]."""
    require_positive(inner_diameter_m=inner, youngs_modulus_pa=youngs)
    require_not_negative(poisson_ratio=poisson)
    if not np.all(np.asarray(outer) > inner):
        raise ValueError(f"the outer diameter, {outer} m, must be above the bore, {inner} m")
    ratio = (outer**2 + inner**2) / (outer**2 - inner**2)
    return 0.5 * inner / youngs * (ratio + poisson)
