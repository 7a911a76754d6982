"""Cameras: parameters with locks, limits and motors, as pure objects.

Public: `Camera`, and its output besides replies: `Action`, which is `Changed`, `Refused`, `Did`, `Wake`, `Deaf`,
`NewId` or `Restart`.

Open `camera.py` first.
"""

from busim.simulator.cameras.actions import Action, Changed, Deaf, Did, NewId, NewPort, Refused, Restart, Wake
from busim.simulator.cameras.camera import Camera

__all__ = ["Action", "Camera", "Changed", "Deaf", "Did", "NewId", "NewPort", "Refused", "Restart", "Wake"]
