"""Air against published tables and independent property libraries."""

import pytest

from traceanalyze.errors import UsageError
from traceanalyze.vehicle.air import (
    air_density_kgm3,
    density_altitude_m,
    engine_share,
    power_factor_iso_1585,
    power_factor_sae_j1349,
    relative_density,
    saturation_pressure_pa,
    standard_atmosphere,
)


@pytest.mark.parametrize(
    ("celsius", "pascal", "humidity", "cipm", "coolprop"),
    [
        (20, 101325, 0.5, 1.199314, 1.199359),
        (15, 101325, 0.0, 1.225521, 1.225567),
        (25, 101325, 0.5, 1.177315, 1.177360),
        (30, 99000, 0.6, 1.126945, 1.126987),
        (35, 95000, 0.3, 1.067026, 1.067065),
        (20, 100000, 0.5, 1.183557, None),
        (0, 101325, 0.0, 1.293049, None),
    ],
)
def test_moist_air(celsius, pascal, humidity, cipm, coolprop):
    """CIPM-2007 values computed apart from this project; and CoolProp 8.0 (HAPropsSI), another set of equations.

    Coefficients of the equation are from memory, which the second library checks: 5e-5 of it, where 1 % of humidity
    is worth 5e-5 and a wrong coefficient far more.
    """
    found = air_density_kgm3(celsius, pascal, humidity)
    assert found == pytest.approx(cipm, abs=2e-6)
    if coolprop:
        assert found == pytest.approx(coolprop, rel=5e-5)


def test_saturation_pressure():
    # 20 degrees: 2339.16 Pa by CIPM, 2339.318 Pa by CoolProp 8.0
    assert saturation_pressure_pa(20) == pytest.approx(2339.163, abs=0.01)
    assert saturation_pressure_pa(20) == pytest.approx(2339.318, rel=1e-4)


def test_air_that_is_none():
    with pytest.raises(UsageError, match=r"no air of 20 degrees C, 1\.013 hPa"):
        air_density_kgm3(20, 101.3, 0.5)  # hPa given where Pa belong
    with pytest.raises(UsageError, match="5000 % humidity"):
        air_density_kgm3(20, 101325, 50)


@pytest.mark.parametrize(
    ("metres", "kelvin", "pascal", "density"),
    [  # US Standard Atmosphere 1976, geometric altitude; computed with fluids 1.3.1, ambiance 1.3.1 agrees to 1e-6
        (0, 288.15, 101325, 1.2250),
        (500, 284.9003, 95461.3, 1.167273),
        (1000, 281.6510, 89876.28, 1.111660),
        (1609.344, 277.6919, 83431.76, 1.046661),
        (3000, 268.6592, 70121.2, 0.909254),
        (5000, 255.6755, 54048.3, 0.736428),
    ],
)
def test_standard_atmosphere(metres, kelvin, pascal, density):
    temperature, pressure, rho = standard_atmosphere(metres)
    assert temperature == pytest.approx(kelvin, abs=1e-3)
    assert pressure == pytest.approx(pascal, abs=0.2)
    assert rho == pytest.approx(density, abs=2e-6)


@pytest.mark.parametrize(
    ("density", "metres"), [(1.2250, 0.0), (1.199314, 220.2), (1.177315, 411.6), (1.126945, 860.6), (1.067026, 1415.1)]
)  # fmt: skip
def test_density_altitude(density, metres):
    # the inverse of the 1976 standard atmosphere: H = 44330.769 (1 - (rho / 1.2250)^0.234969)
    assert density_altitude_m(density) == pytest.approx(metres, abs=0.1)


def test_relative_density_of_the_coast_down_rules():
    # (p / 100 kPa) (293.15 / T), German StVZO 3.9.2.3; +-7.5 % is allowed
    assert relative_density(15, 101325) == pytest.approx(1.0308, abs=5e-5)
    assert relative_density(35, 95000) == pytest.approx(0.90376, abs=1e-5)
    assert relative_density(0, 101300) == pytest.approx(1.0872, abs=5e-5)


def test_power_factors_of_dynamometers():
    # formulas from memory (ISO 1585; SAE J1349), numbers computed apart from this project
    assert power_factor_iso_1585(30, 97_000) == pytest.approx(1.03538, abs=1e-5)
    assert power_factor_iso_1585(25, 99_000) == pytest.approx(1.00030, abs=1e-5)
    assert power_factor_sae_j1349(25, 99_000) == pytest.approx(1.0, abs=1e-9)
    assert power_factor_sae_j1349(35, 95_000) == pytest.approx(1.07014, abs=1e-5)


def test_engine_power_goes_with_density():
    assert engine_share(1.1, 1.2) == pytest.approx(1.1 / 1.2)
