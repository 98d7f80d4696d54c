"""Rates and ECG intervals of infants by age, as published, and an infant made after them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from infantmon.errors import ArgumentError, require_between
from infantmon.simulate.breathing import Breathing
from infantmon.simulate.ecg import EcgLead
from infantmon.simulate.heart import Heart

CENTILES = (1.0, 10.0, 25.0, 50.0, 75.0, 90.0, 99.0)
OLDEST_MONTHS = 36.0
NEWBORN_MONTHS = 1.0 / 30.0


@dataclass(frozen=True)
class RatesByAge:
    """Published centiles of heart and breathing rate for one range of age.

    Attributes
    ----------
    until_months : float
        The first age that is above the range, in months.
    heart_bpm, breathing_per_min : tuple of float
        Rates at the centiles of `CENTILES`, a minute.
    """

    until_months: float
    heart_bpm: tuple[float, ...]
    breathing_per_min: tuple[float, ...]


RATES = (
    # the day of birth: the heart's centiles but the median are from memory; no breathing centiles
    # are at hand for it, so those of 0 to 3 months stand
    RatesByAge(NEWBORN_MONTHS, (90, 107, 116, 127, 138, 148, 164), (25, 34, 40, 43, 52, 57, 66)),
    RatesByAge(3.0, (107, 123, 133, 143, 154, 164, 181), (25, 34, 40, 43, 52, 57, 66)),
    RatesByAge(6.0, (104, 120, 129, 140, 150, 159, 175), (24, 33, 38, 41, 49, 55, 64)),
    RatesByAge(9.0, (98, 114, 123, 134, 143, 152, 168), (23, 31, 36, 39, 47, 52, 61)),
    RatesByAge(12.0, (93, 109, 118, 128, 137, 145, 161), (22, 30, 35, 37, 45, 50, 58)),
    RatesByAge(18.0, (88, 103, 112, 123, 132, 140, 156), (21, 28, 32, 35, 42, 46, 53)),
    RatesByAge(24.0, (82, 98, 106, 116, 126, 135, 149), (19, 25, 29, 31, 36, 40, 46)),
    RatesByAge(36.0, (76, 92, 100, 110, 119, 128, 142), (18, 22, 25, 28, 31, 34, 38)),
)
"""Fleming et al., Lancet 2011;377:1011-1018: healthy children, awake and asleep mixed."""


def rates_at(age_months: float) -> RatesByAge:
    """Return the published rates for an age in months, 0 to below 36.

    Raises
    ------
    ArgumentError
        If the age is outside the table.
    """
    age = require_between(age_months, 0.0, OLDEST_MONTHS, name="age_months", unit="months")
    for row in RATES:
        if age < row.until_months:
            return row
    raise ArgumentError(
        f"age_months is {age:g} months; the published table ends below {OLDEST_MONTHS:g} months."
    )


def heart_at(age_months: float, *, centile: float = 50.0) -> Heart:
    """Return a heart that beats as published for an age.

    Parameters
    ----------
    age_months : float
        Age, in months; below 36.
    centile : float
        Of the rate among infants of that age, 1 to 99.

    Raises
    ------
    ArgumentError
        If age or centile lie outside of what is published.
    """
    return Heart(rate_bpm=_at(rates_at(age_months).heart_bpm, centile))


def breathing_at(age_months: float, *, centile: float = 50.0) -> Breathing:
    """Return breathing as published for an age.

    Parameters
    ----------
    age_months : float
        Age, in months; below 36.
    centile : float
        Of the rate among infants of that age, 1 to 99.

    Raises
    ------
    ArgumentError
        If age or centile lie outside of what is published.
    """
    return Breathing(rate_per_min=_at(rates_at(age_months).breathing_per_min, centile))


def newborn_lead() -> EcgLead:
    """Return a lead with the intervals of newborns: QRS 40 ms, PR 90 ms, QTc 400 ms.

    Notes
    -----
    Newborns, n = 364: QRS 40 +- 10, PR 90 +- 20, QTc 400 +- 30 ms; another series has a mean QRS
    of 50 to 53 ms, which is what `EcgLead` has by default (both from abstracts). Intervals at
    higher ages were not at hand; QT follows the rate at every age.
    """
    return EcgLead(qrs_s=0.04, pr_s=0.09, qtc_s=0.4)


def _at(rates: tuple[float, ...], centile: float) -> float:
    wanted = require_between(centile, 1.0, 99.0, name="centile", unit="(centile)")
    return float(np.interp(wanted, CENTILES, rates))
