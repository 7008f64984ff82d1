"""Local gravity from latitude and height."""

import math

EQUATOR_M_S2 = 9.7803253359
SOMIGLIANA_K = 0.00193185265241
ECCENTRICITY_SQUARED = 0.00669437999013
"""WGS 84 (NIMA TR8350.2): normal gravity at the equator, Somigliana's constant, first
eccentricity squared."""


def normal_gravity_m_s2(latitude_rad: float) -> float:
    """Return normal gravity on the WGS 84 ellipsoid by Somigliana's closed formula.

    Raises:
        ValueError: the latitude is beyond a pole.
    """
    squared = math.sin(_latitude(latitude_rad)) ** 2
    share = (1 + SOMIGLIANA_K * squared) / math.sqrt(1 - ECCENTRICITY_SQUARED * squared)
    return EQUATOR_M_S2 * share


def local_gravity_m_s2(latitude_rad: float, height_m: float) -> float:
    """Return local gravity by the WELMEC formula, good to some 1e-4 m/s2 near the ground.

    Raises:
        ValueError: the latitude is beyond a pole.
    """
    single = math.sin(_latitude(latitude_rad)) ** 2
    double = math.sin(2 * latitude_rad) ** 2
    return 9.780318 * (1 + 0.0053024 * single - 0.0000058 * double) - 0.000003085 * height_m


def _latitude(latitude_rad: float) -> float:
    if not abs(latitude_rad) <= math.pi / 2:
        raise ValueError(f"latitude {math.degrees(latitude_rad):.6g} deg is beyond a pole")
    return latitude_rad
