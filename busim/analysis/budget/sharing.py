"""Several uncoordinated masters on one line: the throughput. Over numbers or arrays.

`offered` is the load G of all senders together: frames a second times the length of a frame.
"""

from __future__ import annotations

import numpy as np

from busim.physics.exchange import Numbers


def pure_aloha(offered: Numbers) -> Numbers:
    """Share of time with whole frames if all stations send at will: G e^(-2G) (Abramson 1970)."""
    return offered * np.exp(-2 * offered)


def carrier_sense(offered: Numbers, sensing: Numbers) -> Numbers:
    """The same if all listen first and retreat from a busy line (non-persistent carrier sense).

    S = G e^(-aG) / (G (1 + 2a) + e^(-aG)), a = `sensing` delay / frame, equal for all pairs: Kleinrock and Tobagi, IEEE
    Trans. Comm. 23(12), 1975 (formula second-hand).
    """
    heard = np.exp(-sensing * offered)
    return offered * heard / (offered * (1 + 2 * sensing) + heard)


def persistent_carrier_sense(offered: Numbers, sensing: Numbers) -> Numbers:
    """The same if all listen first and send as soon as a busy line is free (1-persistent carrier sense).

    S = G (1 + G + aG (1 + G + aG/2)) e^(-G (1 + 2a)) / (G (1 + 2a) - (1 - e^(-aG)) + (1 + aG) e^(-G (1 + a))):
    Kleinrock and Tobagi, IEEE Trans. Comm. 23(12), 1975 (from memory). A master with `listen` in its plan does this;
    with `back_off` as well, it does as in `carrier_sense`.
    """
    late = sensing * offered
    above = offered * (1 + offered + late * (1 + offered + late / 2)) * np.exp(-offered * (1 + 2 * sensing))
    below = offered * (1 + 2 * sensing) + np.expm1(-late) + (1 + late) * np.exp(-offered * (1 + sensing))
    return above / below


def undisturbed(length: Numbers, rate: Numbers, other: Numbers) -> Numbers:
    """Chance that an exchange of `length` meets none of another master's, which come at `rate` and last `other`.

    e^(-rate (length + other)): the other one must begin neither while this one lasts nor less than its own length
    before. Poisson starts (Abramson 1970, for unequal lengths); a strict period gives a little less.
    """
    return np.exp(-rate * (length + other))
