"""A receiver as a 16x oversampling UART sees the line: the exact path.

A start bit begins at a change from mark to space and is sampled again in its middle. Data, parity and the first stop
bit are sampled in their middles, counted by the receiver's own clock from that edge (tick 8 of 16, then every 16 ticks:
Analog Devices / Maxim tutorial 2141). The byte is complete in the middle of the first stop bit. After a stop bit read
as space the receiver waits for mark before it looks for another start, so a break gives one character.

The 16x clock is taken to be in phase with the edge. A real part detects an edge up to 1/16 bit late; this is not
modelled, so that both paths give the same nanosecond.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right

from busim.recording.trace import BREAK, FRAMING, PARITY
from busim.simulator.bus.settings import Setting
from busim.simulator.bus.wave import Wave

Heard = tuple[int, int, int, bool]  # done ns, value, flags, whether the stop bit was space


class Uart:
    """One receiver's state between characters: `at` ns from which it looks, `low` while it waits for mark."""

    __slots__ = ("at", "low", "setting")

    def __init__(self, setting: Setting) -> None:
        self.setting = setting
        self.at = 0
        self.low = False

    def next(self, wave: Wave) -> Heard | None:
        """The next character in this wave, or None if it has no further start bit. Changes nothing."""
        times, levels = wave.times, wave.levels
        at = self.at
        index = bisect_right(times, at)
        level = levels[index - 1] if index else wave.before
        low = self.low
        while True:
            while low or level:
                if low and level:
                    low = False
                    continue
                if index == len(times):
                    return None
                at, level = times[index], levels[index]
                index += 1
            middle = at + self.setting.offset(1)
            if wave.at(middle) == 0:
                return self._character(wave, at)
            at, level = middle, 1  # too short for a start bit
            index = bisect_left(times, middle)  # a change at this nanosecond is still to come

    def _character(self, wave: Wave, edge: int) -> Heard:
        offset, format = self.setting.offset, self.setting.format
        value = 0
        for bit in range(format.data_bits):
            value |= wave.at(edge + offset(2 * bit + 3)) << bit
        flags = 0
        parity = 0
        if format.parity != "N":
            parity = wave.at(edge + offset(2 * format.data_bits + 3))
            if parity != format.parity_bit(value):
                flags |= PARITY
        done = edge + offset(self.setting.sample_halves)
        stop_low = wave.at(done) == 0
        if stop_low:
            flags |= FRAMING
            if not value and not parity:
                flags |= BREAK
        return done, value, flags, stop_low

    def take(self, heard: Heard) -> None:
        """Continue after this character."""
        self.at, _, _, self.low = heard

    def settled(self, wave: Wave, now: int) -> bool:
        """Whether the level has not changed for a bit, so no start bit waits for its middle."""
        index = bisect_right(wave.times, now)
        return index == 0 or wave.times[index - 1] + self.setting.offset(2) <= now

    def idle_until(self, now: int, wave: Wave) -> None:
        """The wave has no further start bit: look from `now` on if the level settled. Mark ends the wait for it."""
        if self.settled(wave, now):
            self.skip_to(now)
            self.low = self.low and not wave.at(now)

    def skip_to(self, at: int) -> None:
        """No character began up to `at` ns: look for a start bit from there."""
        self.at = max(self.at, at)
