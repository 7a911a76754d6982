"""Shape of one entry of a plan's `expect`: a bound for a figure.

The plan does not know the figures and their units, `busim.recording.expectations` does. Here a bound is still the text
in the file.
"""

from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, PlainValidator, WithJsonSchema, model_validator

from busim.foundation.errors import UserError
from busim.foundation.schema import Shape, Word, has, refusal
from busim.foundation.yaml_source import Real

_LONGEST = 60


def _bound(value: Any) -> str:
    if isinstance(value, Real):
        return value.text
    text = str(value) if isinstance(value, (str, int)) and not isinstance(value, bool) else ""
    if text.strip() and len(text) <= _LONGEST:
        return text
    raise refusal(UserError("not a bound", expected="a number with its unit", mend="write 5 Hz, for example"))


Bound = Annotated[str, PlainValidator(_bound), WithJsonSchema({"type": ["string", "number"], "examples": ["5 Hz", 0]})]
Scope = Annotated[
    list[Word],
    Field(min_length=1),
    BeforeValidator(lambda value: [value] if isinstance(value, str) else value),
    WithJsonSchema({"type": ["string", "array"], "items": {"type": "string"}, "examples": ["left mat"]}),
]


class ExpectShape(Shape):
    """One bound for a figure, checked at the end of a run."""

    figure: Word = has("name of a figure", "poll_rate")
    of: Scope = has("names of lines or cameras; or `every line`, `every camera`", "left mat", "every line")
    at_least: Bound | None = has("lower bound, in the unit of the figure", "5 Hz", None)
    at_most: Bound | None = has("upper bound, in the unit of the figure", "300 ms", None)

    @model_validator(mode="after")
    def _bounded(self) -> Self:
        if self.at_least is None and self.at_most is None:
            raise refusal(
                UserError(
                    "this figure has no bound",
                    expected="`at_least`, `at_most` or both",
                    mend="add `at_least: 5 Hz`, for example",
                )
            )
        return self
