"""A polled value that no camera has."""

from __future__ import annotations

from busim.analysis.check.rule import Rule
from busim.analysis.check.unresolved import told

RULE = Rule(
    id="polled-value-nobody-has",
    title="A polled value that no camera has",
    severity="error",
    area="masters",
    explanation="No camera of this master has such a parameter, or none has a key for it under the protocol of its "
    "line. Usually the name is misspelt.",
    source="the camera models and the protocol",
    advice="Write the name as in the camera model. `busim explain MODEL` lists the names.",
    find=told("polled-value-nobody-has"),
    refuses=True,
    bad=(("values: [tally, temperature]", "values: [tally, «temperatur]"),),
    good=(("values: [tally, temperature]", "values: [tally, requests]"),),
)
