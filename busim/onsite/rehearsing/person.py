"""The person at the line: does what a laptop cannot, agrees to each write, looks. And what they answered."""

from __future__ import annotations

from typing import Protocol


class Person(Protocol):
    """Each method asks one question. `script`: nobody is there, and --yes agreed beforehand."""

    @property
    def script(self) -> bool: ...

    def does(self, what: str) -> bool:
        """Have something done by hand. Whether it is done."""

    def agrees(self, write: str) -> bool:
        """Whether this may be sent."""

    def sees(self, look: str) -> bool:
        """Whether this is so."""

    def decides(self, question: str) -> bool:
        """Whether to go on with something that the plan does not say."""

    def goes_on(self, failure: str) -> bool:
        """After a failed step: whether to do the steps of the other cameras, or to stop here."""

    def signs(self, text: str) -> bool:
        """Whether to sign."""


class Script:
    """Nobody: agrees to what the plan says, and to nothing else."""

    script = True

    def does(self, what: str) -> bool:
        return True

    def agrees(self, write: str) -> bool:
        return True

    def sees(self, look: str) -> bool:
        return True

    def decides(self, question: str) -> bool:
        return False

    def goes_on(self, failure: str) -> bool:
        return True

    def signs(self, text: str) -> bool:
        return True


class Remembered:
    """A person whose answers are kept. `asked`: since the last `forget`, each question with its answer."""

    def __init__(self, person: Person) -> None:
        self._person = person
        self.asked: list[tuple[str, str]] = []
        self.script = person.script

    def does(self, what: str) -> bool:
        return self._kept(what, self._person.does(what), "done")

    def agrees(self, write: str) -> bool:
        return self._kept(write, self._person.agrees(write), "agreed")

    def sees(self, look: str) -> bool:
        return self._kept(look, self._person.sees(look), "seen")

    def decides(self, question: str) -> bool:
        said = self._person.decides(question)
        self.asked.append((question, "yes" if said else "no"))
        return said

    def goes_on(self, failure: str) -> bool:
        return self._person.goes_on(failure)

    def signs(self, text: str) -> bool:
        return self._person.signs(text)

    def forget(self) -> tuple[tuple[str, str], ...]:
        """The answers since the last call."""
        asked, self.asked = tuple(self.asked), []
        return asked

    def _kept(self, question: str, said: bool, yes: str) -> bool:
        answer = f"no, not {yes}" if not said else f"{yes} (--yes, nobody was asked)" if self.script else yes
        self.asked.append((question, answer))
        return said
