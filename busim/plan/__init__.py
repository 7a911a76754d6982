"""The plan: the file of an integrator, read with all errors at once, each with its place.

In: a file or a text. Out: a `Plan`, frozen, or `Findings`. Open `shapes.py` first for what may stand in a plan, then
`reader.py`.

Public: `read`, `read_text` (a file or text to a `Plan`), `change` (a plan with changed values), `rewrite` (the
same for its text), `raised_fuses` (those that a change raises without a reason), `source_text` (the text of an
unchanged plan), `locate` (place of a field), `folder` (of the files that it names), `files_in_use` (the files that the
installation is built from), `defaults` (the plan with every default as JSON), `spelled` (the plan as a file with every
default), `json_schema` (for editors), `starter` (text of a first plan), and the data types of a plan.
"""

from typing import TYPE_CHECKING

from busim.foundation.first_use import by_name, fetched
from busim.plan.reader import files_in_use, folder, json_schema, locate, read, read_text
from busim.plan.shapes import STANDS
from busim.plan.site import (
    BiasPlan,
    CablePlan,
    FeedPlan,
    MeasuredPlan,
    PlacePlan,
    PowerPlan,
    SilencedPlan,
    SparePlan,
    SupplyPlan,
)
from busim.plan.standing import served, standing
from busim.plan.types import (
    CameraPlan,
    ClientsPlan,
    ConverterPlan,
    DriverPlan,
    ExpectPlan,
    FaultPlan,
    JoystickPlan,
    LinePlan,
    MasterPlan,
    PanelPlan,
    Place,
    Plan,
    PollGroup,
)

if TYPE_CHECKING:
    from busim.plan.changing import change, raised_fuses, rewrite, source_text
    from busim.plan.resolved import defaults
    from busim.plan.spelling import Spelled, spelled
    from busim.plan.starters import starter
else:
    _MODULES = {  # fetched at first use: most commands only read plans
        "changing": "change raised_fuses rewrite source_text",
        "resolved": "defaults",
        "spelling": "Spelled spelled",
        "starters": "starter",
    }
    __getattr__ = fetched(__name__, by_name(_MODULES))

__all__ = [
    "STANDS",
    "BiasPlan",
    "CablePlan",
    "CameraPlan",
    "ClientsPlan",
    "ConverterPlan",
    "DriverPlan",
    "ExpectPlan",
    "FaultPlan",
    "FeedPlan",
    "JoystickPlan",
    "LinePlan",
    "MasterPlan",
    "MeasuredPlan",
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
    "raised_fuses",
    "read",
    "read_text",
    "rewrite",
    "served",
    "source_text",
    "spelled",
    "standing",
    "starter",
]
