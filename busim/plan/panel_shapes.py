"""The shapes of a plan's panels and their joysticks."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from busim.foundation.errors import UserError
from busim.foundation.schema import Shape, Word, has, refusal
from busim.foundation.units import show_time
from busim.plan.fields import Moves, Positions, ShortTime


class JoystickShape(Shape):
    """A joystick of a panel, moved all the time: positions of its controls at a steady rate, to one camera."""

    camera: Word = has("the camera that it steers, one of the panel's", "left mat")
    controls: Annotated[list[Word], Field(min_length=1)] = has("its controls, some of the panel's", ["iris"])
    rate: Positions = has("positions per second; each is a move of every control", "25 /s")
    jitter: ShortTime = has("a position comes up to this late, at random; at most the time between two", "2 ms", "0")

    @model_validator(mode="after")
    def in_order(self) -> Self:
        if self.jitter * self.rate > 1e9:
            raise refusal(
                UserError(
                    "a position of this joystick may come after the next one",
                    expected=f"a jitter of at most {show_time(1e9 / self.rate)}, the time between two positions",
                    mend="give a smaller jitter or a lower rate",
                )
            )
        return self


class PanelShape(Shape):
    """A panel: its controls, the cameras they move, and the master that carries the moves."""

    name: Word = has("name of the panel", "desk")
    master: Word = has("the master that carries its moves", "controller")
    cameras: Annotated[list[Word], Field(min_length=1)] = has("cameras that it controls", ["left mat"])
    controls: Annotated[list[Word], Field(min_length=1)] = has("parameters that it controls", ["iris"])
    moves: Moves = has("operator moves per second", "0.5 /s", "0")
    joysticks: list[JoystickShape] = has(
        "its joysticks", [{"camera": "left mat", "controls": ["iris"], "rate": "25 /s"}], []
    )
    place: Word | None = has("name of its place", "desk", None)
