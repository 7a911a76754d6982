"""Cameras: parameter tables with locks, as pure objects."""

from busim.cameras.camera import Camera

__all__ = ["Camera"]
