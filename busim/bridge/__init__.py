"""The bridge: converters as TCP servers, so that a real controller reaches an emulated line."""

from busim.bridge.addresses import Address, addresses
from busim.bridge.binding import bind_all, cautions
from busim.bridge.door import Door, Enter

__all__ = ["Address", "Door", "Enter", "addresses", "bind_all", "cautions"]
