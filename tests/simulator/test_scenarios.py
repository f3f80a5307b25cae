"""What the fitter is told of a drawn bench."""

from __future__ import annotations

import numpy as np

from nozzlewright.simulator import random_session


def test_knowledge_differs_from_truth_by_its_stated_uncertainty():
    """Over many draws the errors of what is known have the spread that is stated."""
    scaled = []
    for start in range(12):
        drawn = random_session(np.random.default_rng(start), "hold cut short")
        known, setup = drawn.conditions, drawn.setup
        volume = setup.rig.volume_m3 + drawn.injector.volume_m3
        for quantity, true in (
            (known.oil_temperature, setup.temperature_k),
            (known.rig.volume_m3, volume),
            (known.rig.wall_compliance, setup.rig.wall_compliance),
            (known.fluid.bulk_modulus_20c, setup.oil.bulk_modulus_20c),
            (known.fluid.pressure_viscosity, setup.oil.pressure_viscosity),
        ):
            scaled.append((quantity.value - true) / quantity.standard_uncertainty)
    assert 0.75 < np.std(scaled) < 1.25
    assert abs(np.mean(scaled)) < 0.4
