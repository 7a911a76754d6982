"""Camera models: what a camera has to set and to read and how it behaves, as data.

Public: `find` (a model by name or file), `load` (one of busim's), `names` (those), `read`, `read_text` (a model from
its file or text), `json_schema` (for editors), `starter` (a text to begin one with), and what a model is made of.
"""

from busim.plan.models.model import (
    BusSide,
    Control,
    Limit,
    Lock,
    Model,
    Motor,
    Order,
    Parameter,
    Presets,
    Supply,
    Timing,
)
from busim.plan.models.reading import json_schema, read, read_text
from busim.plan.models.sources import find, load, names, starter

__all__ = [
    "BusSide",
    "Control",
    "Limit",
    "Lock",
    "Model",
    "Motor",
    "Order",
    "Parameter",
    "Presets",
    "Supply",
    "Timing",
    "find",
    "json_schema",
    "load",
    "names",
    "read",
    "read_text",
    "starter",
]
