"""A polled value that no camera has."""

from __future__ import annotations

from busim.analysis.check.rule import Rule
from busim.analysis.check.unresolved import told

RULE = Rule(
    id="polled-value-nobody-has",
    title="A polled value that no camera has",
    severity="error",
    area="masters",
    explanation="None of the cameras that this master asks has such a parameter, or none has a key for it under the "
    "protocol of its line. Mostly the name is misspelt.",
    source="the camera models and the protocol",
    advice="Write the name as the camera model has it; `busim explain MODEL` lists them.",
    find=told("polled-value-nobody-has"),
    refuses=True,
    bad=(("values: [tally, temperature]", "values: [tally, «temperatur]"),),
    good=(("values: [tally, temperature]", "values: [tally, requests]"),),
)
