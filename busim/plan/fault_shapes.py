"""Shape of one entry of a plan's `faults`: what goes wrong, where and when.

A plan knows no faults. `busim.simulator.faults` knows which there are; here a parameter is still the text that was
written, and every key that is none of these is taken for one.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema, model_validator

from busim.foundation.errors import UserError
from busim.foundation.schema import Word, has, refusal
from busim.foundation.yaml_source import Real
from busim.plan.fields import Time

Places = Annotated[
    list[Word],
    Field(min_length=1),
    BeforeValidator(lambda value: [value] if isinstance(value, str) else value),
    WithJsonSchema({"type": ["string", "array"], "items": {"type": "string"}, "examples": ["rope left"]}),
]
_LONGEST = 200


class FaultShape(BaseModel):
    """One fault or preset of faults, off until its time comes. Further keys are parameters of the fault."""

    model_config = ConfigDict(extra="allow", strict=True, frozen=True, validate_default=True)

    fault: Word = has("name of a fault or of a preset; `busim explain faults` lists them", "late-reply")
    on: Places = has("names of cameras, converters or lines; or `every camera` and so on", "rope left")
    at: Time = has("when it begins", "10 s", "0")
    length: Time = has("how long it lasts; 0: to the end", "5 s", "0", alias="for")
    every: Time = has("from one beginning to the next; 0: once", "60 s", "0")

    @model_validator(mode="after")
    def _ends_before_it_begins_again(self) -> FaultShape:
        if self.every and not 0 < self.length < self.every:
            raise refusal(
                UserError(
                    "a fault that begins again before it is over",
                    expected="`for` shorter than `every`",
                    mend="write for example `for: 5 s` and `every: 60 s`",
                )
            )
        for name, value in (self.model_extra or {}).items():
            if not isinstance(value, (str, int, float, bool, Real)) or len(_text(value)) > _LONGEST:
                raise refusal(
                    UserError(
                        f"no value of a parameter: {name[:60]}",
                        expected="a number with its unit, a word or bytes, in one line",
                        mend="`busim explain` and the name of the fault says what it may be",
                    )
                )
        return self

    @property
    def parameters(self) -> dict[str, str]:
        """Parameters of the fault, as they were written."""
        return {name: _text(value) for name, value in (self.model_extra or {}).items()}


def _text(value: Any) -> str:
    if isinstance(value, Real):
        return value.text
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)
