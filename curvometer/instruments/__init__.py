"""Instruments by ISO 3630-1 (size, taper, diameter along it, colour, length) and what a clinic has on the shelf."""

from curvometer.instruments.inventory import (
    STOP_ROOM_MM,
    Inventory,
    default_inventory,
    instruments_that_reach,
    shortest_that_reaches,
)
from curvometer.instruments.inventory_file import InventoryError, load_inventory
from curvometer.instruments.iso import (
    ISO_SIZES,
    LENGTHS_MM,
    Instrument,
    InstrumentError,
    InstrumentKind,
    Material,
    colour_of_size,
    diameter_tolerance_mm,
    stops_short_mm,
)

__all__ = [
    "ISO_SIZES",
    "LENGTHS_MM",
    "STOP_ROOM_MM",
    "Instrument",
    "InstrumentError",
    "InstrumentKind",
    "Inventory",
    "InventoryError",
    "Material",
    "colour_of_size",
    "default_inventory",
    "diameter_tolerance_mm",
    "instruments_that_reach",
    "load_inventory",
    "shortest_that_reaches",
    "stops_short_mm",
]
