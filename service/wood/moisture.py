"""Equilibrium moisture content: the water that wood holds in air of a given temperature and humidity."""

from __future__ import annotations

from service.rulebook import rulebook
from vision.errors import UsageError


def equilibrium(humidity: float, celsius: float) -> float:
    """Percent of oven-dry mass, Hailwood-Horrobin (Simpson, FPL-RN-0268).

    Parameters
    ----------
    humidity : relative humidity, percent, 0 to 100.
    celsius : temperature of the air.

    Raises
    ------
    UsageError
        outside the range the equation was fitted for.
    """
    rules = rulebook("wood").tables["moisture"]
    low, high = rules["lowest_celsius"], rules["highest_celsius"]
    if not 0 <= humidity <= 100:
        raise UsageError("humidity", f"{humidity} % is no relative humidity.", "Give percent from 0 to 100.")
    if not low <= celsius <= high:
        raise UsageError("temperature", f"{celsius} C lies outside {low} to {high} C.", "Give the air's temperature in Celsius.")
    w, k, k1, k2 = (sum(c * celsius**n for n, c in enumerate(rules[name])) for name in ("W", "K", "K1", "K2"))
    kh = k * humidity / 100
    bound = (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2)
    return float(1800 / w * (kh / (1 - kh) + bound))
