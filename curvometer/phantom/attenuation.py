"""How strongly the tissues of a radiograph weaken an X-ray beam, and the few-bin spectrum that is used.

Mass attenuation coefficients (with coherent scattering) and densities are those of Hubbell and Seltzer,
*Tables of X-Ray Mass Attenuation Coefficients and Mass Energy-Absorption Coefficients*, NISTIR 5632 (1995):
cortical bone and soft tissue are its ICRU-44 mixtures, air its dry air, steel its iron. Enamel and dentine
are not in that table; they are mixed here from its elements by weight fractions.

Spectrum: a dental tube at 65 to 70 kV with about 2 mm of aluminium has a mean energy near 36 to 38 keV. Three
bins at energies that the table lists (30, 40, 50 keV) keep that mean at 37.5 keV and let thick enamel and
steel harden the beam as they do on a film; a finer spectrum would change grey values, not shapes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from curvometer.bibliography import HowRead, Reference

NIST_ATTENUATION = Reference(
    key="nistir-5632",
    citation=(
        "Hubbell JH, Seltzer SM. Tables of X-Ray Mass Attenuation Coefficients and Mass Energy-Absorption"
        " Coefficients. NISTIR 5632, 1995"
    ),
    how_read=HowRead.SECONDARY,
    note="cortical bone and soft tissue (ICRU-44) in public copies of the table; the rest from memory",
)


class Material(IntEnum):
    """What the beam passes; the value is the index into a stack of path lengths."""

    ENAMEL = 0
    DENTINE = 1
    BONE = 2
    SOFT = 3
    STEEL = 4
    POLYMER = 5
    AIR = 6


ENERGIES_KEV = (30.0, 40.0, 50.0)
SPECTRUM_WEIGHTS = (0.40, 0.45, 0.15)
"""Share of detected quanta per bin; mean 37.5 keV."""

# Elements, cm2/g at 30, 40, 50 keV (NISTIR 5632, table 3).
ELEMENT_CM2_PER_G: dict[str, tuple[float, float, float]] = {
    "H": (0.3570, 0.3458, 0.3355),
    "C": (0.2562, 0.2076, 0.1871),
    "N": (0.3066, 0.2288, 0.1980),
    "O": (0.3779, 0.2585, 0.2132),
    "Si": (1.436, 0.7012, 0.4385),
    "P": (1.700, 0.8096, 0.4916),
    "Ca": (4.080, 1.830, 1.019),
}

# Weight fractions. Hydroxyapatite Ca10(PO4)6(OH)2; collagen and silicone rounded. Enamel 96 % mineral, 3 %
# water, 1 % protein; dentine 70 % mineral, 20 % protein, 10 % water (common textbook figures, no single
# source).
_HYDROXYAPATITE = {"Ca": 0.3989, "P": 0.1850, "O": 0.4141, "H": 0.0020}
_WATER = {"H": 0.1119, "O": 0.8881}
_PROTEIN = {"C": 0.53, "O": 0.23, "N": 0.17, "H": 0.07}
_SILICONE = {"C": 0.3239, "H": 0.0816, "O": 0.2158, "Si": 0.3787}
ENAMEL_PARTS = ((0.96, _HYDROXYAPATITE), (0.03, _WATER), (0.01, _PROTEIN))
DENTINE_PARTS = ((0.70, _HYDROXYAPATITE), (0.10, _WATER), (0.20, _PROTEIN))


@dataclass(frozen=True, kw_only=True)
class Attenuation:
    """One material: density in g/cm3 and mass attenuation in cm2/g at `ENERGIES_KEV`."""

    density_g_per_cm3: float
    mass_cm2_per_g: tuple[float, float, float]

    @property
    def per_mm(self) -> tuple[float, float, float]:
        """Linear attenuation per millimetre at `ENERGIES_KEV`."""
        low, middle, high = (self.density_g_per_cm3 * mu / 10.0 for mu in self.mass_cm2_per_g)
        return low, middle, high


def mixture(parts: tuple[tuple[float, dict[str, float]], ...]) -> tuple[float, float, float]:
    """Mass attenuation of a mixture by weight: the sum of its elements' (NISTIR 5632, equation 6)."""
    low, middle, high = (
        math.fsum(w * f * ELEMENT_CM2_PER_G[el][i] for w, compound in parts for el, f in compound.items())
        for i in range(len(ENERGIES_KEV))
    )
    return low, middle, high


MATERIALS: dict[Material, Attenuation] = {
    Material.ENAMEL: Attenuation(density_g_per_cm3=2.95, mass_cm2_per_g=mixture(ENAMEL_PARTS)),
    Material.DENTINE: Attenuation(density_g_per_cm3=2.14, mass_cm2_per_g=mixture(DENTINE_PARTS)),
    Material.BONE: Attenuation(density_g_per_cm3=1.920, mass_cm2_per_g=(1.331, 0.6655, 0.4242)),
    Material.SOFT: Attenuation(density_g_per_cm3=1.060, mass_cm2_per_g=(0.3790, 0.2688, 0.2264)),
    Material.STEEL: Attenuation(density_g_per_cm3=7.874, mass_cm2_per_g=(8.176, 3.629, 1.958)),
    Material.POLYMER: Attenuation(density_g_per_cm3=1.15, mass_cm2_per_g=mixture(((1.0, _SILICONE),))),
    Material.AIR: Attenuation(density_g_per_cm3=1.205e-3, mass_cm2_per_g=(0.3538, 0.2485, 0.2080)),
}


def transmission(paths_mm: dict[Material, NDArray[np.float32]]) -> NDArray[np.float32]:
    """Share of the beam that arrives, by the law of Beer and Lambert, summed over the spectrum.

    Parameters
    ----------
    paths_mm
        Path length through each material in mm, arrays of one shape.

    Returns
    -------
    array of float32
        ``sum_e w_e exp(-sum_m mu_m(e) L_m)``, 1 for an empty beam.
    """
    total: NDArray[np.float32] | None = None
    for i, weight in enumerate(SPECTRUM_WEIGHTS):
        exponent = sum(path * np.float32(-MATERIALS[m].per_mm[i]) for m, path in paths_mm.items())
        arrived = np.exp(exponent, dtype=np.float32) * np.float32(weight)
        total = arrived if total is None else total + arrived
    assert total is not None
    return total
