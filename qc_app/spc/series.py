"""Checking what comes in: finite numbers, in the shape a chart needs."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qc_app.refusal import Refusal, shortened

Floats = NDArray[np.float64]

LARGEST = 1e150
"""Values beyond this are refused: their squares would leave the range of a double."""

SMALLEST = 1 / LARGEST
"""A divisor below this counts as zero."""

LARGEST_COUNT = 10**9
"""Counts beyond this are refused: their exact limits could no longer be told apart."""


def series(values: ArrayLike, fewest: int = 1, name: str = "The series") -> Floats:
    """The values as an array of shape (n,).

    Raises
    ------
    Refusal
        If there are fewer than ``fewest``, or one is not a finite number (it names the first such place).

    >>> series([3.4, float("nan")])
    Traceback (most recent call last):
    qc_app.refusal.Refusal: The series holds nan as value 2. Only finite numbers are accepted.
    """
    array = numbers(values, name)
    if array.ndim != 1:
        raise Refusal(
            "{name} has {given} dimensions. Accepted is one row of values.", name=name, given=array.ndim
        )
    if array.size < fewest:
        raise Refusal(
            "{name} needs at least {fewest} values; {given} came.", name=name, fewest=fewest, given=array.size
        )
    check_finite(array, name)
    return array


def check_finite(array: Floats, name: str = "The series") -> None:
    """Refuses an array with a value that is not finite, naming the first one."""
    largest = max(-float(array.min()), float(array.max())) if array.size else 0.0
    if largest <= LARGEST:
        return
    place = int(np.flatnonzero(~(np.abs(array.ravel()) <= LARGEST))[0])
    raise Refusal(
        "{name} holds {given} as value {place}. Only finite numbers are accepted.",
        name=name,
        given=float(array.ravel()[place]),
        place=place + 1,
    )


def positive(value: float, name: str) -> float:
    """The value, if it is finite and above zero; Refusal otherwise."""
    if finite(value, name) < SMALLEST:
        raise Refusal("{name} must be a finite number above zero. Given: {given}.", name=name, given=value)
    return float(value)


def finite(value: float | np.number[Any], name: str) -> float:
    """The value, if it is a finite number of ordinary size; Refusal otherwise."""
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = float("nan")
    if not abs(number) <= LARGEST:
        raise Refusal(
            "{name} must be a finite number. Given: {given}.", name=name, given=shortened(str(value))
        )
    return number


def share(value: float, name: str) -> float:
    """The value, if it lies strictly between 0 and 1; Refusal otherwise."""
    if not 0 < finite(value, name) < 1:
        raise Refusal("{name} must lie between 0 and 1. Given: {given}.", name=name, given=value)
    return float(value)


def whole(value: float, least: int, name: str) -> int:
    """The value as an integer not below ``least``; Refusal otherwise."""
    number = finite(value, name)
    if number != int(number) or number < least:
        raise Refusal(
            "{name} must be a whole number of at least {least}. Given: {given}.",
            name=name,
            least=least,
            given=value,
        )
    return int(number)


def whole_counts(values: ArrayLike, name: str) -> Floats:
    """Counts as an array of shape (n,): whole numbers from 0 up; Refusal otherwise."""
    array = series(values, name=name)
    wrong = np.flatnonzero((array < 0) | (array > LARGEST_COUNT) | (array != np.rint(array)))
    if wrong.size:
        raise Refusal(
            "{name} holds {given} as value {place}. A count is a whole number from 0 to {most}.",
            name=name,
            most=LARGEST_COUNT,
            given=float(array[wrong[0]]),
            place=int(wrong[0]) + 1,
        )
    return array


def numbers(values: ArrayLike, name: str) -> Floats:
    """The values as an array of whatever shape they have; Refusal if one is not a number."""
    try:
        return np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise Refusal(
            "{name} must hold numbers only. Given: {given}.", name=name, given=shortened(str(values))
        ) from None
