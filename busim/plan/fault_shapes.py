"""Shape of one entry of a plan's `faults`: a fault with its place and time.

The plan does not know the faults, `busim.simulator.faults` does. Here a parameter is still the text in the file, and
every key that has no field here counts as a parameter.
"""

from typing import Annotated, Any, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema, model_validator

from busim.foundation.errors import UserError
from busim.foundation.schema import Shape, Word, has, refusal
from busim.foundation.yaml_source import Real
from busim.plan.fields import Time

Places = Annotated[
    list[Word],
    Field(min_length=1),
    BeforeValidator(lambda value: [value] if isinstance(value, str) else value),
    WithJsonSchema({"type": ["string", "array"], "items": {"type": "string"}, "examples": ["rope left"]}),
]
_LONGEST = 200


class AfterShape(Shape):
    """What a fault waits for: exactly one of a mark, a change or an effect, as the records of a trace have them."""

    mark: Word | None = has("a mark with this text", "doors open", None)
    change: Word | None = has("a parameter that changes", "bus_id", None)
    effect: Word | None = has("a fault or policy that takes effect", "reboot", None)
    of: Word | None = has("name of the camera, converter or line; default: any", "rope left", None)

    @model_validator(mode="after")
    def _waits_for_one_thing(self) -> Self:
        if sum(one is not None for one in (self.mark, self.change, self.effect)) != 1 or (self.mark and self.of):
            raise refusal(
                UserError(
                    "not one event to wait for",
                    expected="`mark` alone, or one of `change` and `effect`, which may have `of`",
                    mend="write for example `after: {mark: doors open}`",
                )
            )
        return self


class FaultShape(BaseModel):
    """One fault or preset of faults, off until its time comes. Further keys are parameters of the fault."""

    model_config = ConfigDict(
        extra="allow", strict=True, frozen=True, validate_default=True, defer_build=True,
        json_schema_extra={"additionalProperties": {"type": ["string", "number", "boolean"]}},
    )  # fmt: skip

    fault: Word = has("name of a fault or of a preset; `busim explain faults` lists them", "late-reply")
    on: Places = has("names of cameras, converters or lines; or `every camera` and so on", "rope left")
    at: Time = has("when it starts", "10 s", "0")
    after: AfterShape | None = has("an event that it waits for; `at` is then the time from there", {"mark": "go"}, None)
    length: Time = has("how long it lasts; 0: to the end", "5 s", "0", alias="for")
    every: Time = has("time from one start to the next; 0: once", "60 s", "0")

    @model_validator(mode="after")
    def _ends_before_it_begins_again(self) -> Self:
        if self.every and not 0 < self.length < self.every:
            raise refusal(
                UserError(
                    "the fault starts again before it has ended",
                    expected="`for` shorter than `every`",
                    mend="write `for: 5 s` and `every: 60 s`, for example",
                )
            )
        for name, value in (self.model_extra or {}).items():
            if not isinstance(value, (str, int, float, bool, Real)) or len(_text(value)) > _LONGEST:
                raise refusal(
                    UserError(
                        f"the value of parameter {name[:60]} does not fit",
                        expected="a number with its unit, a word or bytes, on one line",
                        mend="`busim explain` with the name of the fault shows the allowed values",
                    )
                )
        return self

    @property
    def parameters(self) -> dict[str, str]:
        """Parameters of the fault, as text from the file."""
        return {name: _text(value) for name, value in (self.model_extra or {}).items()}


def _text(value: Any) -> str:
    if isinstance(value, Real):
        return value.text
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)
