"""The units that people write most: the registry of all others takes longer to load than a project to solve.

Inch, foot and pound are exact (international yard and pound, 1959); so is standard gravity (CGPM 1901).
"""

from __future__ import annotations

import math

STANDARD_GRAVITY = 9.80665  # [m/s^2]

_IN, _FT, _LB = 0.0254, 0.3048, 0.45359237
_LBF = _LB * STANDARD_GRAVITY

# Of each kind of quantity, the value of one unit in SI.
USUAL: dict[str, dict[str, float]] = {
    "length": {"m": 1.0, "cm": 0.01, "mm": 1e-3, "km": 1e3, "ft": _FT, "in": _IN},
    "size": {"m": 1.0, "cm": 0.01, "mm": 1e-3, "ft": _FT, "in": _IN},
    "area": {"m^2": 1.0, "cm^2": 1e-4, "mm^2": 1e-6, "ft^2": _FT**2, "in^2": _IN**2},
    "pressure": {"Pa": 1.0, "N/m^2": 1.0, "kPa": 1e3, "kN/m^2": 1e3, "psf": _LBF / _FT**2},
    "stress": {"MPa": 1e6, "N/mm^2": 1e6, "GPa": 1e9, "psi": _LBF / _IN**2, "ksi": 1e3 * _LBF / _IN**2},
    "force": {"N": 1.0, "kN": 1e3, "lbf": _LBF, "kip": 1e3 * _LBF},
    "moment": {
        **{"N*m": 1.0, "kN*m": 1e3},
        **{"lbf*ft": _LBF * _FT, "lbf*in": _LBF * _IN, "kip*in": 1e3 * _LBF * _IN},
    },
    "stiffness": {
        **{"N/m": 1.0, "kN/m": 1e3, "N/mm": 1e3, "kN/mm": 1e6},
        **{"lbf/in": _LBF / _IN, "kip/in": 1e3 * _LBF / _IN},
    },
    "rotational_stiffness": {"N*m/rad": 1.0, "kN*m/rad": 1e3, "kip*in/rad": 1e3 * _LBF * _IN},
    "line_load": {
        **{"N/m": 1.0, "kN/m": 1e3, "N/mm": 1e3},
        **{"plf": _LBF / _FT, "lbf/ft": _LBF / _FT, "lbf/in": _LBF / _IN},
    },
    "line_stiffness": {"N/m^2": 1.0, "N/mm^2": 1e6, "lbf/in^2": _LBF / _IN**2},
    "bed_stiffness": {"N/m^3": 1.0, "N/mm^3": 1e9, "lbf/in^3": _LBF / _IN**3},
    "density": {"kg/m^3": 1.0, "pcf": _LB / _FT**3, "lb/ft^3": _LB / _FT**3},
    "unit_weight": {"N/m^3": 1.0, "kN/m^3": 1e3, "lbf/ft^3": _LBF / _FT**3},
    "angle": {"deg": math.pi / 180.0, "rad": 1.0},
    "temperature_change": {"K": 1.0, "delta_degF": 5.0 / 9.0},
    "volume": {"m^3": 1.0, "ft^3": _FT**3},
    "speed": {"m/s": 1.0, "ft/s": _FT},
}
# A unit has one value whatever it is used for.
VALUE = {unit: value for units in USUAL.values() for unit, value in units.items()}
