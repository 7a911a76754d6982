"""Converters: what an Ethernet-to-serial box does between network and line, as pure objects."""

from busim.converters.packing import Packer

__all__ = ["Packer"]
