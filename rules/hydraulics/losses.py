"""Pressure loss of single elements: pipe friction, sudden changes of bore, orifices.

Plain functions of floats and numpy arrays. Every function broadcasts over its arguments.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

LAMINAR_END = 2000.0
"""Reynolds number up to which the flow is taken as laminar."""

TURBULENT_START = 4000.0
"""Reynolds number from which Colebrook's equation holds."""

LARGEST_RELATIVE_ROUGHNESS = 0.05
"""Colebrook's equation was fitted to relative roughness up to 0.05."""

_C = 2.0 / np.log(10.0)
_LAMINAR_POISEUILLE = 64.0


class Wall(NamedTuple):
    """What the friction law needs to know of a pipe wall, worked out once for each pipe."""

    sublayer: FloatArray
    haaland: FloatArray


def wall(relative_roughness: npt.ArrayLike) -> Wall:
    """Prepare the wall terms of :func:`poiseuille_number`.

    Parameters
    ----------
    relative_roughness : array_like
        Height of the roughness over the diameter [-], 0 to 0.05.
    """
    sublayer = np.asarray(relative_roughness, dtype=np.float64) / 3.7
    return Wall(sublayer, sublayer**1.11)


def poiseuille_number(reynolds: FloatArray, pipe_wall: Wall) -> tuple[FloatArray, FloatArray]:
    r"""Darcy friction factor times Reynolds number, and its derivative by the Reynolds number.

    .. math::
        f\,Re = 64 \quad (Re \le 2000), \qquad
        \frac{1}{\sqrt f} = -2\log_{10}\left(\frac{\varepsilon/D}{3.7}
        + \frac{2.51}{Re\sqrt f}\right) \quad (Re \ge 4000)

    Parameters
    ----------
    reynolds : ndarray
        Reynolds number [-], not negative.
    pipe_wall : Wall
        From :func:`wall`; its arrays broadcast against `reynolds`.

    Returns
    -------
    tuple of ndarray
        f Re [-] and d(f Re)/dRe [-].

    Notes
    -----
    Colebrook's equation is solved by Haaland's explicit formula and one Halley step, which leaves
    a relative error of f below 1e-6 for Re up to 1e8 and relative roughness up to 0.05. The
    derivative is that of the implicit equation.

    Between Re 2000 and 4000 no law is settled. f Re is carried across by the cubic that takes
    value and slope from both sides. f Re rather than f, because it is constant in laminar flow and
    larger in turbulent flow: the cubic rises all the way, so the loss (f Re times flow) rises
    strictly with flow and has a continuous slope. A jump in the loss or in its slope is what makes
    Newton's method stop or cycle.

    References
    ----------
    "Turbulent flow in pipes", Journal of the Institution of Civil Engineers 11 (1939) 133-156 (the
    Colebrook equation). "Simple and explicit formulas for the friction factor in turbulent pipe
    flow", Journal of Fluids Engineering 105 (1983) 89-90 (the Haaland equation). Both cited from
    memory.
    """
    number, slope = _turbulent(
        np.maximum(reynolds, TURBULENT_START), pipe_wall.sublayer, pipe_wall.haaland
    )
    below = reynolds < TURBULENT_START
    if not below.any():
        return number, slope
    # Where the Reynolds number is below, `number` and `slope` are those at the start of turbulence.
    width = TURBULENT_START - LAMINAR_END
    t = np.clip((reynolds - LAMINAR_END) / width, 0.0, 1.0)
    rise = number - _LAMINAR_POISEUILLE
    end_slope = slope * width
    across = _LAMINAR_POISEUILLE + t * t * ((3.0 - 2.0 * t) * rise + (t - 1.0) * end_slope)
    across_slope = t * (6.0 * (1.0 - t) * rise + (3.0 * t - 2.0) * end_slope) / width
    return np.where(below, across, number), np.where(below, across_slope, slope)


def _turbulent(
    reynolds: FloatArray, sublayer: FloatArray, haaland: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """f Re and its derivative from Colebrook's equation, in x = 1 / sqrt(f)."""
    x = (-0.9 * _C) * np.log(haaland + 6.9 / reynolds)
    a = 2.51 / reynolds
    inner = sublayer + a * x
    ratio = a / inner
    first = 1.0 + _C * ratio
    newton = (x + _C * np.log(inner)) / first
    x -= newton / (1.0 + newton * (0.5 * _C) * ratio * ratio / first)
    a *= _C
    growth = a / (sublayer + a * (x / _C) + a)
    friction = 1.0 / (x * x)
    return reynolds * friction, friction * (1.0 - 2.0 * growth)


def friction_factor(reynolds: npt.ArrayLike, relative_roughness: npt.ArrayLike) -> FloatArray:
    """Darcy friction factor in laminar, transitional and turbulent flow.

    Parameters
    ----------
    reynolds : array_like
        Reynolds number [-], above 0.
    relative_roughness : array_like
        Height of the roughness over the diameter [-], 0 to 0.05.

    Returns
    -------
    ndarray
        Darcy friction factor [-], four times Fanning's.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    64/Re to Re 2000, Colebrook from Re 4000, a smooth crossing in between: see
    :func:`poiseuille_number`, also for the references.

    Examples
    --------
    >>> float(friction_factor(1000.0, 0.0))
    0.064
    >>> round(float(friction_factor(1e5, 1e-4)), 6)
    0.018514
    """
    return _friction(reynolds, relative_roughness)[0]


def friction_factor_slope(reynolds: npt.ArrayLike, relative_roughness: npt.ArrayLike) -> FloatArray:
    """Derivative of :func:`friction_factor` by the Reynolds number [-]; same arguments.

    Examples
    --------
    >>> float(friction_factor_slope(1000.0, 0.0))
    -6.4e-05
    """
    return _friction(reynolds, relative_roughness)[1]


def _friction(
    reynolds: npt.ArrayLike, relative_roughness: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    re = np.asarray(reynolds, dtype=np.float64)
    roughness = np.asarray(relative_roughness, dtype=np.float64)
    if not np.all((re > 0.0) & (re < np.inf)):
        raise ValueError("reynolds must be above 0 and finite")
    if not np.all((roughness >= 0.0) & (roughness <= LARGEST_RELATIVE_ROUGHNESS)):
        raise ValueError(
            f"relative_roughness must lie between 0 and {LARGEST_RELATIVE_ROUGHNESS}, "
            "the range of Colebrook's equation"
        )
    number, slope = poiseuille_number(re, wall(roughness))
    factor = number / re
    return factor, (slope - factor) / re


def sudden_contraction_k(wide_mm: npt.ArrayLike, narrow_mm: npt.ArrayLike) -> FloatArray:
    r"""Loss coefficient of a sharp-edged step down in bore, on the velocity in the narrow bore.

    .. math::
        K = 0.0696\,(1-\beta^5)\,\lambda^2 + (\lambda-1)^2, \qquad
        \lambda = 1 + 0.622\,(1 - 0.215\beta^2 - 0.785\beta^5), \qquad \beta = d/D

    Parameters
    ----------
    wide_mm, narrow_mm : array_like
        Bores before and after the step [mm], above 0, `narrow_mm` not above `wide_mm`.

    Raises
    ------
    ValueError
        If a bore is not above 0 or the narrow one is the wider.

    Notes
    -----
    The method of the guide below, the default of the `fluids` library. Up to a bore ratio of 0.89
    it lies above the 0.5 (1 - beta^2) of Technical Paper 410 ("Flow of Fluids Through Valves,
    Fittings and Pipe"), by 38 % at most, beyond that below; handbooks disagree, and the higher
    figure is the careful one for a bottleneck.

    Examples
    --------
    >>> round(float(sudden_contraction_k(10.32, 7.94)), 4)
    0.2703

    References
    ----------
    "Pipe Flow: A Practical and Comprehensive Guide", 2012, chapter 10.
    """
    beta = _bore_ratio(wide_mm, narrow_mm)
    jet = 1.0 + 0.622 * (1.0 - 0.215 * beta**2 - 0.785 * beta**5)
    return 0.0696 * (1.0 - beta**5) * jet**2 + (jet - 1.0) ** 2


def sudden_expansion_k(narrow_mm: npt.ArrayLike, wide_mm: npt.ArrayLike) -> FloatArray:
    r"""Loss coefficient of a sudden step up in bore, on the velocity in the narrow bore.

    .. math::
        K = (1 - \beta^2)^2, \qquad \beta = d/D

    Parameters
    ----------
    narrow_mm, wide_mm : array_like
        Bores before and after the step [mm], above 0, `narrow_mm` not above `wide_mm`.

    Raises
    ------
    ValueError
        If a bore is not above 0 or the narrow one is the wider.

    Notes
    -----
    The Borda-Carnot equation, from the balance of momentum; holds in turbulent flow.

    Examples
    --------
    >>> round(float(sudden_expansion_k(7.94, 10.32)), 4)
    0.1665

    References
    ----------
    "Fluid Mechanics", textbook, chapter 6, minor losses.
    """
    return (1.0 - _bore_ratio(wide_mm, narrow_mm) ** 2) ** 2


def _bore_ratio(wide_mm: npt.ArrayLike, narrow_mm: npt.ArrayLike) -> FloatArray:
    wide = np.asarray(wide_mm, dtype=np.float64)
    narrow = np.asarray(narrow_mm, dtype=np.float64)
    if not np.all((narrow > 0.0) & (narrow <= wide) & (wide < np.inf)):
        raise ValueError("bores must be finite, above 0, and narrow_mm not above wide_mm")
    return narrow / wide


def k_on_diameter(k: npt.ArrayLike, from_mm: npt.ArrayLike, to_mm: npt.ArrayLike) -> FloatArray:
    """Restate a loss coefficient given on one diameter for the velocity in another.

    The loss K rho V^2 / 2 is the same and V goes with 1/D^2, hence K2 = K1 (D2/D1)^4.

    Parameters
    ----------
    k : array_like
        Loss coefficient on the velocity at `from_mm` [-].
    from_mm, to_mm : array_like
        The two diameters [mm].

    Examples
    --------
    >>> float(k_on_diameter(1.0, 5.0, 10.0))
    16.0
    """
    return (
        np.asarray(k, dtype=np.float64)
        * (np.asarray(to_mm, dtype=np.float64) / np.asarray(from_mm, dtype=np.float64)) ** 4
    )


def k_from_measured_drop(
    drop_kpa: float, flow_lph: float, density_kg_m3: float, diameter_mm: float
) -> float:
    """Loss coefficient of a part from one measured pressure drop, on a stated diameter.

    K = 2 dp / (rho V^2) with V the mean velocity at `diameter_mm`. For a valve that is measured
    wide open; it holds as far as the drop goes with the square of the flow.

    Parameters
    ----------
    drop_kpa, flow_lph : float
        The measured pair [kPa], [L/h], both above 0.
    density_kg_m3 : float
        Density of the test fluid [kg/m3].
    diameter_mm : float
        Diameter the coefficient shall refer to [mm].

    Raises
    ------
    ValueError
        If an argument is not above 0 and finite.

    Examples
    --------
    >>> round(k_from_measured_drop(10.0, 250.0, 745.0, 6.0), 3)
    4.45
    """
    for name, value in (
        ("drop_kpa", drop_kpa),
        ("flow_lph", flow_lph),
        ("density_kg_m3", density_kg_m3),
        ("diameter_mm", diameter_mm),
    ):
        if not 0.0 < value < np.inf:
            raise ValueError(f"{name} must be above 0 and finite, not {value!r}")
    area_m2 = np.pi / 4.0 * (diameter_mm / 1000.0) ** 2
    velocity = flow_lph / 3.6e6 / area_m2
    return float(2.0 * drop_kpa * 1000.0 / (density_kg_m3 * velocity**2))
