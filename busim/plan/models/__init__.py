"""Camera models: parameters and behaviour of cameras, as data.

Public: `find` (a model by name or file), `load` (a shipped model), `names` (of the shipped ones), `read`, `read_text`
(a model from its file or text), `json_schema` (for editors), `starter` (text of a first model), and the parts of a
model.

Open `shapes.py` first.
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
