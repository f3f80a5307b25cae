"""Seat washer and how far the nozzle stands out into the chamber."""

from __future__ import annotations

from nozzlewright.physics._arguments import F


def protrusion_with_washer(protrusion_m: F, fitted_thickness_m: float, new_thickness_m: float) -> F:
    r"""Protrusion of the nozzle after a change of seat washer.

    .. math:: P_2 = P_1 + t_1 - t_2

    Parameters
    ----------
    protrusion_m : float or ndarray
        Protrusion measured with the fitted washer :math:`P_1`, [m]
    fitted_thickness_m : float
        Thickness of the fitted washer as crushed :math:`t_1`, [m]
    new_thickness_m : float
        Thickness of the new washer as crushed :math:`t_2`, [m]

    Returns
    -------
    float or ndarray
        Protrusion with the new washer, [m]

    Notes
    -----
    A new washer loses some of its thickness when it is tightened down for the first time.

    References
    ----------
    .. [1] Geometry.
    """
    return protrusion_m + (fitted_thickness_m - new_thickness_m)


def washer_for_protrusion(
    protrusion_m: F, fitted_thickness_m: float, wanted_protrusion_m: float
) -> F:
    r"""Crushed thickness of the washer that brings the protrusion to where it should be.

    .. math:: t_2 = P_1 + t_1 - P_2

    Parameters
    ----------
    protrusion_m : float or ndarray
        Protrusion measured with the fitted washer, [m]
    fitted_thickness_m : float
        Thickness of the fitted washer as crushed, [m]
    wanted_protrusion_m : float
        Protrusion asked for, [m]

    Returns
    -------
    float or ndarray
        Thickness as crushed, [m]

    References
    ----------
    .. [1] Inverse of :func:`protrusion_with_washer`.
    """
    return protrusion_m + (fitted_thickness_m - wanted_protrusion_m)
