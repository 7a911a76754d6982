"""The good master's policy: when a command, a poll and a probe have their turn.

The simulated master and the budget both use it, so each number stands here and nowhere else. The numbers
are busim's own choice.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class MasterPolicy:
    """Times in ns.

    `commands_in_a_row`: most commands before a due poll gets its turn. A camera counts as offline after
    `failures` failed attempts in a row over at least `failing_for`. It is then probed: first after `first_pause`, then
    after pauses that double up to `longest_pause`. `longest_drain`: longest wait for a quiet line after a
    failure; then the master asks again.
    """

    commands_in_a_row: int = 4
    failures: int = 3
    failing_for: int = 1_000_000_000
    first_pause: int = 500_000_000
    longest_pause: int = 5_000_000_000
    longest_drain: int = 250_000_000

    def next_pause(self, pause: int) -> int:
        """The pause in ns after a failed probe, if the pause before it was `pause` ns."""
        return min(2 * pause, self.longest_pause)

    @property
    def growing_probes(self) -> int:
        """Number of failed probes after which the pause no longer grows."""
        count, pause = 0, self.first_pause
        while pause < self.longest_pause:
            count, pause = count + 1, self.next_pause(pause)
        return count


POLICY = MasterPolicy()  # the default
