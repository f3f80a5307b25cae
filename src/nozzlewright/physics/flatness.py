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


def bands_from_bend(bend_m: F, spacing_m: F) -> F:
    r"""Bend of a band in spacings between bands, as read off a photograph.

    .. math:: N = b/s

    Parameters
    ----------
    bend_m : float or ndarray
        How far the middle of a band lies off the line through its ends :math:`b`, [m]
    spacing_m : float or ndarray
        From one band to the next :math:`s`, in the same picture, [m]

    Returns
    -------
    float or ndarray
        Bands of curvature, [1]

    Raises
    ------
    ValueError
        If the spacing is not positive or the bend negative.

    References
    ----------
    .. [1] Proportion; a band is a contour line.
    """
    require_not_negative(bend_m=bend_m)
    require_positive(spacing_m=spacing_m)
    return bend_m / spacing_m
