"""Flatness of lapped pressure faces under an optical flat."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from nozzlewright.physics._arguments import F, require_not_negative, require_positive

LAMP_WAVELENGTHS_M: Mapping[str, float] = MappingProxyType({
    "helium": 587.6e-9,
    "sodium": 589.3e-9,
    "mercury green": 546.1e-9,
    "helium-neon laser": 632.8e-9,
})  # fmt: skip
"""Wavelength of the lamps in use, [m]."""


def band_height(wavelength_m: F) -> F:
    r"""Height that one dark band stands for.

    .. math:: \Delta h = \lambda/2

    Parameters
    ----------
    wavelength_m : float or ndarray
        Wavelength of the lamp, [m]

    Returns
    -------
    float or ndarray
        Height, [m]

    Raises
    ------
    ValueError
        If the wavelength is not positive.

    References
    ----------
    .. [1] Interference at an air wedge; any textbook of optics.
    """
    require_positive(wavelength_m=wavelength_m)
    return 0.5 * wavelength_m


def flatness_from_bands(bands_of_curvature: F, wavelength_m: float) -> F:
    r"""Departure from flat, from the bend of the bands.

    .. math:: \delta = N\lambda/2

    Parameters
    ----------
    bands_of_curvature : float or ndarray
        How far a band bends from straight, in spacings between bands, [1]
    wavelength_m : float
        Wavelength of the lamp, [m]

    Returns
    -------
    float or ndarray
        Departure from flat over the length of the band, [m]

    Raises
    ------
    ValueError
        If the number of bands is negative or the wavelength not positive.

    Notes
    -----
    Count the *bend*, not the number of bands: that only says how the flat is tilted.

    References
    ----------
    .. [1] As :func:`band_height`.
    """
    require_not_negative(bands_of_curvature=bands_of_curvature)
    return bands_of_curvature * band_height(wavelength_m)
