"""Hubbell and Seltzer, NISTIR 5632 (1995): mass attenuation of the phantom's materials.

How the source was read: cortical bone and soft tissue (ICRU-44) in public copies of the table (secondary);
air, iron and the elements from memory. Every number is compared with xraydb, an independent compilation of
the same kind of data (Elam tables), which agrees with the NIST table within about 1 %.
"""

from __future__ import annotations

import math

import pytest
import xraydb

from curvometer.phantom.attenuation import (
    DENTINE_PARTS,
    ELEMENT_CM2_PER_G,
    ENAMEL_PARTS,
    ENERGIES_KEV,
    MATERIALS,
    SPECTRUM_WEIGHTS,
    Material,
)

# Weight fractions of ICRU Report 44 as NISTIR 5632, table 2, lists them (from memory; xraydb confirms the
# sums).
CORTICAL_BONE = {
    "H": 0.034,
    "C": 0.155,
    "N": 0.042,
    "O": 0.435,
    "Na": 0.001,
    "Mg": 0.002,
    "P": 0.103,
    "S": 0.003,
    "Ca": 0.225,
}
SOFT_TISSUE = {
    "H": 0.102,
    "C": 0.143,
    "N": 0.034,
    "O": 0.708,
    "Na": 0.002,
    "P": 0.003,
    "S": 0.003,
    "Cl": 0.002,
    "K": 0.003,
}
DRY_AIR = {"C": 0.000124, "N": 0.755268, "O": 0.231781, "Ar": 0.012827}


def from_xraydb(fractions: dict[str, float], energy_kev: float) -> float:
    return math.fsum(share * float(xraydb.mu_elam(el, energy_kev * 1e3)) for el, share in fractions.items())


@pytest.mark.parametrize(
    ("material", "fractions"),
    [
        (Material.BONE, CORTICAL_BONE),
        (Material.SOFT, SOFT_TISSUE),
        (Material.AIR, DRY_AIR),
        (Material.STEEL, {"Fe": 1.0}),
    ],
)
@pytest.mark.parametrize("bin_", range(3))
def test_tabulated_materials_agree_with_an_independent_table(material, fractions, bin_):
    expected = from_xraydb(fractions, ENERGIES_KEV[bin_])
    assert MATERIALS[material].mass_cm2_per_g[bin_] == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("element", sorted(ELEMENT_CM2_PER_G))
def test_elements_agree_with_an_independent_table(element):
    for value, energy in zip(ELEMENT_CM2_PER_G[element], ENERGIES_KEV, strict=True):
        assert value == pytest.approx(from_xraydb({element: 1.0}, energy), rel=0.01)


@pytest.mark.parametrize(
    ("material", "parts"), [(Material.ENAMEL, ENAMEL_PARTS), (Material.DENTINE, DENTINE_PARTS)]
)
def test_mixtures_agree_with_an_independent_table(material, parts):
    assert math.fsum(share for share, _ in parts) == pytest.approx(1.0)
    for value, energy in zip(MATERIALS[material].mass_cm2_per_g, ENERGIES_KEV, strict=True):
        expected = math.fsum(share * from_xraydb(compound, energy) for share, compound in parts)
        assert value == pytest.approx(expected, rel=0.01)


def test_one_value_by_hand():
    """Cortical bone at 40 keV: 1.920 g/cm3 x 0.6655 cm2/g = 1.27776 per cm (table value, secondary)."""
    assert MATERIALS[Material.BONE].per_mm[1] == pytest.approx(0.127776, rel=1e-9)


def test_tissues_are_ordered_as_on_a_film():
    at_40 = {m: MATERIALS[m].per_mm[1] for m in MATERIALS}
    order = [
        Material.AIR,
        Material.SOFT,
        Material.POLYMER,
        Material.BONE,
        Material.DENTINE,
        Material.ENAMEL,
        Material.STEEL,
    ]
    assert sorted(at_40, key=at_40.__getitem__) == order


def test_spectrum_has_the_mean_energy_of_a_dental_tube():
    """0.40 x 30 + 0.45 x 40 + 0.15 x 50 = 37.5 keV, between the 36 and 40 keV of 65 to 70 kV."""
    assert math.fsum(SPECTRUM_WEIGHTS) == pytest.approx(1.0)
    mean = math.fsum(w * e for w, e in zip(SPECTRUM_WEIGHTS, ENERGIES_KEV, strict=True))
    assert mean == pytest.approx(37.5)
