"""Single elements, against `fluids` where it has them."""

import doctest

import fluids
import numpy as np
import pytest

from rules.hydraulics import (
    curves,
    friction_factor,
    friction_factor_slope,
    k_from_measured_drop,
    k_on_diameter,
    losses,
    network,
    solution,
    sudden_contraction_k,
    sudden_expansion_k,
)
from rules.hydraulics.losses import poiseuille_number, wall

ROUGHNESS = [0.0, 1e-6, 1e-5, 1e-4, 2e-4, 1e-3, 5e-3, 0.01, 0.03, 0.05]


@pytest.mark.parametrize("module", [losses, curves, network, solution])
def test_examples_in_the_docstrings(module):
    outcome = doctest.testmod(module)
    assert outcome.failed == 0


@pytest.mark.parametrize("roughness", ROUGHNESS)
def test_turbulent_friction_is_colebrooks(roughness):
    reynolds = np.geomspace(4000.0, 1e8, 300)
    expected = [fluids.friction_factor(Re=re, eD=roughness) for re in reynolds]
    assert friction_factor(reynolds, roughness) == pytest.approx(expected, rel=1e-6, abs=0.0)


@pytest.mark.parametrize("roughness", ROUGHNESS)
def test_turbulent_friction_solves_colebrooks_equation(roughness):
    """Without another program: put the result into the equation itself."""
    reynolds = np.geomspace(4000.0, 1e8, 300)
    x = friction_factor(reynolds, roughness) ** -0.5
    right = -2.0 * np.log10(roughness / 3.7 + 2.51 * x / reynolds)
    assert x == pytest.approx(right, rel=1e-7, abs=0.0)


def test_laminar_friction_is_64_over_re():
    reynolds = np.geomspace(1e-3, 2000.0, 200)
    assert friction_factor(reynolds, 0.01) == pytest.approx(64.0 / reynolds, rel=1e-12)


@pytest.mark.parametrize("roughness", ROUGHNESS)
def test_slope_is_the_derivative(roughness):
    reynolds = np.concatenate((np.geomspace(10.0, 1e7, 400), np.linspace(1990.0, 4010.0, 203)))
    step = 1e-4 * reynolds
    numeric = friction_factor(reynolds + step, roughness) - friction_factor(
        reynolds - step, roughness
    )
    smooth = (np.abs(reynolds - 2000.0) > 2.0 * step) & (np.abs(reynolds - 4000.0) > 2.0 * step)
    assert friction_factor_slope(reynolds, roughness)[smooth] == pytest.approx(
        (numeric / (2.0 * step))[smooth], rel=1e-4, abs=1e-10
    )


@pytest.mark.parametrize("roughness", ROUGHNESS)
@pytest.mark.parametrize("border", [2000.0, 4000.0])
def test_no_jump_at_the_borders(roughness, border):
    """Value and slope are continuous where one law gives over to the next."""
    below, above = np.nextafter(border, 0.0), np.nextafter(border, 1e9)
    assert friction_factor(below, roughness) == pytest.approx(
        float(friction_factor(above, roughness)), rel=1e-12
    )
    assert friction_factor_slope(below, roughness) == pytest.approx(
        float(friction_factor_slope(above, roughness)), rel=1e-9
    )


@pytest.mark.parametrize("roughness", ROUGHNESS)
def test_loss_rises_strictly_with_flow(roughness):
    """f Re^2, to which the loss is proportional, through all three ranges."""
    reynolds = np.geomspace(1.0, 1e6, 20_000)
    number, slope = poiseuille_number(reynolds, wall(np.array(roughness)))
    assert (np.diff(number * reynolds) > 0.0).all()
    assert (number + reynolds * slope > 0.0).all()


@pytest.mark.parametrize(
    ("reynolds", "roughness", "named"),
    [
        (0.0, 0.0, "reynolds"),
        (-5.0, 0.0, "reynolds"),
        (np.nan, 0.0, "reynolds"),
        (np.inf, 0.0, "reynolds"),
        (1e5, -1e-9, "relative_roughness"),
        (1e5, 0.051, "relative_roughness"),
        (1e5, np.nan, "relative_roughness"),
    ],
)
def test_friction_refuses_what_is_out_of_range(reynolds, roughness, named):
    with pytest.raises(ValueError, match=named):
        friction_factor(reynolds, roughness)


BORES = [(12.7, 7.94), (10.32, 7.94), (7.94, 4.76), (7.94, 6.0), (20.0, 2.0), (8.0, 8.0)]


@pytest.mark.parametrize(("wide", "narrow"), BORES)
def test_sudden_changes_are_those_of_fluids(wide, narrow):
    assert sudden_contraction_k(wide, narrow) == pytest.approx(
        fluids.contraction_sharp(wide / 1000.0, narrow / 1000.0), abs=1e-12
    )
    assert sudden_expansion_k(narrow, wide) == pytest.approx(
        fluids.diffuser_sharp(narrow / 1000.0, wide / 1000.0), abs=1e-12
    )


def test_contraction_lies_above_technical_paper_410_by_what_the_docstring_says():
    beta = np.linspace(0.01, 0.99, 99)
    excess = sudden_contraction_k(1.0, beta) / (0.5 * (1.0 - beta**2)) - 1.0
    assert ((excess > 0.0) == (beta < 0.895)).all()
    assert excess.max() == pytest.approx(0.38, abs=0.005)


@pytest.mark.parametrize(("wide", "narrow"), [(5.0, 6.0), (0.0, 0.0), (np.inf, 1.0), (5.0, np.nan)])
def test_sudden_changes_refuse_wrong_bores(wide, narrow):
    with pytest.raises(ValueError, match="bores"):
        sudden_contraction_k(wide, narrow)
    with pytest.raises(ValueError, match="bores"):
        sudden_expansion_k(narrow, wide)


def test_k_on_another_diameter_is_that_of_fluids():
    expected = fluids.change_K_basis(K1=2.5, D1=0.006, D2=0.0079)
    assert k_on_diameter(2.5, 6.0, 7.9) == pytest.approx(expected)


def test_k_from_a_measured_drop_gives_the_drop_back():
    k = k_from_measured_drop(drop_kpa=30.0, flow_lph=350.0, density_kg_m3=745.0, diameter_mm=5.0)
    velocity = 350.0 / 3.6e6 / (np.pi / 4.0 * 0.005**2)
    assert fluids.dP_from_K(k, 745.0, velocity) == pytest.approx(30_000.0)


@pytest.mark.parametrize("field", ["drop_kpa", "flow_lph", "density_kg_m3", "diameter_mm"])
@pytest.mark.parametrize("value", [0.0, -1.0, np.nan, np.inf])
def test_k_from_a_measured_drop_names_the_wrong_argument(field, value):
    values = {"drop_kpa": 30.0, "flow_lph": 350.0, "density_kg_m3": 745.0, "diameter_mm": 5.0}
    with pytest.raises(ValueError, match=field):
        k_from_measured_drop(**{**values, field: value})
