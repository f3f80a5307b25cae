"""Types and checks that the formulas share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
"""Array of float64."""

F = TypeVar("F", float, NDArray[np.float64])
"""A number or an array: the result has the shape of the argument."""

OfPressure = Callable[[Array], ArrayLike]
"""Something that depends on pressure: takes an array of shape (N,), [Pa], returns (N,) or ()."""

GAUSS_NODES, GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(12)
GAUSS_NODES, GAUSS_WEIGHTS = 0.5 * (GAUSS_NODES + 1.0), 0.5 * GAUSS_WEIGHTS  # on 0..1


def number_or_array(value: ArrayLike) -> Any:
    """Return an array of shape () as a plain number, any other array as it is."""
    array = np.asarray(value, dtype=np.float64)
    return array if array.ndim else float(array)


def require_positive(**arguments: ArrayLike) -> None:
    """Raise ValueError, naming all arguments that are not positive and finite."""
    _require("positive", arguments, lambda value: 0.0 < value < np.inf, lambda array: array > 0.0)


def require_not_negative(**arguments: ArrayLike) -> None:
    """Raise ValueError, naming all arguments that are negative or not finite."""
    _require(
        "zero or positive",
        arguments,
        lambda value: 0.0 <= value < np.inf,
        lambda array: array >= 0.0,
    )


def _require(
    kind: str,
    arguments: dict[str, Any],
    number: Callable[[float], bool],
    each: Callable[[Array], NDArray[np.bool_]],
) -> None:
    wrong = []
    for name, value in arguments.items():
        # Most are plain numbers, and these formulas are called thousands of times.
        if isinstance(value, float):
            fine = number(value)
        else:
            array = np.asarray(value)
            fine = bool((each(array) & np.isfinite(array)).all())
        if not fine:
            wrong.append(f"{name} = {np.asarray(value)}")
    if wrong:
        raise ValueError(f"must be finite and {kind}: {', '.join(wrong)}")
