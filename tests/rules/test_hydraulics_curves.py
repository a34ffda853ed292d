"""Interpolation of measured curves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from rules.hydraulics.curves import bank, evaluate, monotone_slopes, odd_table, table

RISE = [0.0, 50.0, 100.0, 200.0, 300.0, 400.0, 500.0, 600.0, 690.0, 720.0, 770.0]
FLOW = [400.0, 391.0, 381.0, 363.0, 342.0, 320.0, 299.0, 275.0, 251.0, 150.0, 0.0]


@st.composite
def falling_curves(draw):
    size = draw(st.integers(2, 12))
    steps = st.floats(0.01, 100.0)
    x = np.cumsum([draw(steps) for _ in range(size)])
    y = np.cumsum([draw(steps) for _ in range(size)])[::-1]
    return x.tolist(), y.tolist()


@given(falling_curves())
def test_slopes_are_those_of_scipys_pchip(curve):
    x, y = curve
    if len(x) == 2:
        expected = [(y[1] - y[0]) / (x[1] - x[0])] * 2
    else:
        expected = PchipInterpolator(x, y).derivative()(x)
    assert monotone_slopes(x, y) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@given(falling_curves())
def test_goes_through_its_points_and_falls_all_the_way(curve):
    x, y = curve
    one = table(x, y)
    assert evaluate(one, np.array(x))[0] == pytest.approx(y)
    span = x[-1] - x[0]
    dense = np.linspace(x[0] - 3.0 * span, x[-1] + 3.0 * span, 2001)
    values, slopes = evaluate(one, dense)
    assert (np.diff(values) < 0.0).all()
    assert (slopes <= 1e-9 * abs(y[0] - y[-1]) / span).all()


@given(falling_curves())
def test_never_overshoots_between_two_points(curve):
    x, y = curve
    one = table(x, y)
    for i in range(len(x) - 1):
        values, _ = evaluate(one, np.linspace(x[i], x[i + 1], 50))
        slack = 1e-9 * y[0]
        assert values.max() <= y[i] + slack
        assert values.min() >= y[i + 1] - slack


def test_slope_is_the_derivative_beyond_the_data_too():
    one = table(RISE, FLOW)
    x = np.linspace(-3000.0, 4000.0, 1777)
    numeric = (evaluate(one, x + 1e-4)[0] - evaluate(one, x - 1e-4)[0]) / 2e-4
    assert evaluate(one, x)[1] == pytest.approx(numeric, abs=1e-4)


def test_odd_curve_is_the_same_backwards_and_passes_the_origin():
    one = odd_table([100.0, 200.0, 400.0], [2.0, 6.0, 20.0])
    x = np.linspace(-600.0, 600.0, 601)
    values, slopes = evaluate(one, x)
    assert values == pytest.approx(-values[::-1])
    assert slopes == pytest.approx(slopes[::-1])
    assert values[300] == 0.0
    assert (one.first, one.last) == (-400.0, 400.0)


def test_origin_in_the_data_is_not_added_twice():
    given_origin = odd_table([0.0, 100.0, 200.0], [0.0, 2.0, 6.0])
    added = odd_table([100.0, 200.0], [2.0, 6.0])
    assert np.array_equal(given_origin.coefficients, added.coefficients)


def test_curves_of_one_pump_keep_their_values_on_common_knots():
    """Cutting a curve at another curve's points must not change it."""
    other = table([10.0, 75.0, 330.0, 640.0, 900.0], [450.0, 440.0, 400.0, 340.0, 0.0])
    one = table(RISE, FLOW)
    both = bank([[(12.0, one), (13.5, other)]])
    x = np.linspace(-900.0, 2000.0, 2901)
    piece = np.searchsorted(both.knots[0], x, side="right")
    t = x - both.base[0, piece]
    for row, alone in enumerate((one, other)):
        c = both.coefficients[row, piece]
        assert c[:, 0] + t * (c[:, 1] + t * (c[:, 2] + t * c[:, 3])) == pytest.approx(
            evaluate(alone, x)[0], abs=1e-9
        )
