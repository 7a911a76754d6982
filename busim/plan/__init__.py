"""The plan: what an integrator writes, read with every error at once and each at its place.

Public: `read`, `read_text` (a file or text to a `Plan`), `change` (a plan with other values), `rewrite` (the same of
its file's text), `source_text` (the text a plan was read from, if it says the same), `locate` (place of a field),
`folder` (where the files lie that it names), `files_in_use` (which of them the installation is built from),
`defaults` (the plan with every default as JSON), `spelled` (the plan as a file with every default), `json_schema`
(for editors), `starter` (a plan to begin with), and the data a plan is made of.
"""

from busim.plan.changing import change, rewrite, source_text
from busim.plan.reader import files_in_use, folder, json_schema, locate, read, read_text
from busim.plan.resolved import defaults
from busim.plan.site import (
    BiasPlan,
    CablePlan,
    FeedPlan,
    PlacePlan,
    PowerPlan,
    SilencedPlan,
    SparePlan,
    SupplyPlan,
)
from busim.plan.spelled import Spelled, spelled
from busim.plan.starters import starter
from busim.plan.types import (
    CameraPlan,
    ClientsPlan,
    ConverterPlan,
    DriverPlan,
    ExpectPlan,
    FaultPlan,
    LinePlan,
    MasterPlan,
    PanelPlan,
    Place,
    Plan,
    PollGroup,
)

__all__ = [
    "BiasPlan",
    "CablePlan",
    "CameraPlan",
    "ClientsPlan",
    "ConverterPlan",
    "DriverPlan",
    "ExpectPlan",
    "FaultPlan",
    "FeedPlan",
    "LinePlan",
    "MasterPlan",
    "PanelPlan",
    "Place",
    "PlacePlan",
    "Plan",
    "PollGroup",
    "PowerPlan",
    "SilencedPlan",
    "SparePlan",
    "Spelled",
    "SupplyPlan",
    "change",
    "defaults",
    "files_in_use",
    "folder",
    "json_schema",
    "locate",
    "read",
    "read_text",
    "rewrite",
    "source_text",
    "spelled",
    "starter",
]
