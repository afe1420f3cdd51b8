"""Physical constants, SI."""

from math import pi

MU_0 = 4e-7 * pi  # magnetic constant [H/m]; CODATA 2018 differs from this in the tenth digit
CELSIUS_ZERO = 273.15  # 0 degrees Celsius [K]
STEFAN_BOLTZMANN = 5.670374419e-8  # [W/(m2 K4)], CODATA 2018 (exact)
STANDARD_GRAVITY = 9.80665  # [m/s2], ISO 80000-3
