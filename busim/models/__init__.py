"""Camera models: what a camera has to set and to read, as data.

Public: `load` (a model by name), `names` (those that come with busim), `read_text` (a model from its text), and
`Model`, `Parameter`, `Lock`.
"""

from busim.models.model import Lock, Model, Parameter
from busim.models.reading import load, names, read_text

__all__ = ["Lock", "Model", "Parameter", "load", "names", "read_text"]
