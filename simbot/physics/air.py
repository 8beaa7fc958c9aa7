"""Constants of compressed air."""

from __future__ import annotations

ATMOSPHERE = 101325.0  # Pa, standard atmosphere (ISO 2533)
REFERENCE_DENSITY = 1.185  # kg/m³ at 20 °C, 1 bar and 65 % humidity (ISO 8778, from memory)
GAS = 287.055 * 293.15  # J/kg: gas constant of dry air (ISO 2533) times 20 °C
