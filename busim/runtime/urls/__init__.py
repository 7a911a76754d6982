"""`busim://` URLs: a converter's client side as a serial port in process, for programs written for pyserial.

pyserial looks for a URL's handler in registered packages, by module name (`protocol_busim`). The URL carries a token of
one running world, valid while its owner keeps it open; nothing else is global.

Open `protocol_busim.py` first.
"""

from busim.runtime.urls.drive import Drive
from busim.runtime.urls.offers import Offer, admit, withdraw
from busim.runtime.urls.outlet import Outlet
from busim.runtime.urls.stand_in import Clock

__all__ = ["Clock", "Drive", "Offer", "Outlet", "admit", "withdraw"]
