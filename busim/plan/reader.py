"""Reads a plan file: the result is a Plan, or every error in the file."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping
from contextlib import suppress
from dataclasses import replace
from itertools import islice
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from busim.foundation.diagnostics import Finding, Findings
from busim.foundation.errors import UserError
from busim.foundation.schema import form, worded
from busim.foundation.units import Spread
from busim.foundation.yaml_source import Declared, Position, is_path, load, parse
from busim.foundation.yaml_source import locate as place_of
from busim.plan.build import build
from busim.plan.checks import findings as checked
from busim.plan.models import find
from busim.plan.shapes import PlanShape
from busim.plan.types import Plan

# A file with more mistakes is probably no plan; a longer list would not help.
MOST_FINDINGS = 500


def read(path: str | Path) -> Plan:
    """Read a plan file. Raises Findings with every error in it, each with its place."""
    try:
        document = load(path)
    except UserError as error:
        raise Findings([Finding.of(error, "unreadable")]) from None
    plan, silent = _plan(document)
    return _resolved(replace(plan, files=files_beside(plan)), silent)


def files_in_use(plan: Plan) -> list[str]:
    """Names of the files that the installation is built from: protocols of lines, models of cameras; no spares."""
    named = {line.protocol for line in plan.lines} | {camera.model for camera in plan.cameras}
    return sorted(filter(is_path, named))


def files_beside(plan: Plan) -> dict[str, str]:
    """The readable files among those that the plan names; errors in the others are reported where they are used."""
    found = {}
    for name in sorted({*files_in_use(plan), *filter(is_path, (spare.model for spare in plan.spares))}):
        with suppress(UserError):
            found[name] = load(folder(plan) / name).text
    return found


def read_text(text: str, path: str = "", files: Mapping[str, str] | None = None) -> Plan:
    """Read a plan from its text; `path` names it in messages, and files beside it are looked for there, but for those
    in `files` (name to text): where these are given, no other becomes part of the plan. Raises Findings as `read` does.
    """
    try:
        document = parse(text, path)
    except UserError as error:
        raise Findings([Finding.of(error, "unreadable")]) from None
    plan, silent = _plan(document)
    texts = files_beside(plan) if files is None else dict(files)
    return _resolved(replace(plan, files=texts), silent)


def _resolved(plan: Plan, silent: Collection[str]) -> Plan:
    """The plan, with the turnaround of the model for each camera without one in the plan.

    An unknown or faulty model is reported where it is used.
    """
    times: dict[str, Spread] = {}
    cameras = []
    for camera in plan.cameras:
        if camera.name in silent:
            if camera.model not in times:
                times[camera.model] = camera.turnaround
                with suppress(UserError):
                    model = find(camera.model, folder(plan), plan.files)
                    times[camera.model] = model.timing.turnaround
            camera = replace(camera, turnaround=times[camera.model])
        cameras.append(camera)
    whole = replace(plan, cameras=tuple(cameras))
    return replace(whole, as_read=fingerprint(whole))


def fingerprint(plan: Plan) -> str:
    """Hash of the data of a plan, independent of the path of its file."""
    return hashlib.sha256(repr(replace(plan, path="")).encode()).hexdigest()


def folder(plan: Plan) -> Path:
    """The folder of the files that a plan names."""
    return Path(plan.path).parent


def locate(plan: Plan, field: str) -> Position:
    """Line and column (from 1) of a field such as `cameras[0].model`, or of the nearest entry around it in the file."""
    return place_of(plan.positions, field)


def json_schema() -> dict[str, Any]:
    """The format of a plan file as JSON Schema (draft 2020-12), for editors."""
    return form(PlanShape, "busim plan")


def _plan(document: Declared) -> tuple[Plan, Collection[str]]:
    """The plan, and the names of cameras without a turnaround in it."""
    found = [Finding.of(problem, "duplicate-key") for problem in document.problems]
    shape: PlanShape | None = None
    try:
        shape = PlanShape.model_validate(document.value)
    except ValidationError as error:
        details = error.errors(include_url=False)
        found.extend(worded(document, detail, PlanShape) for detail in details[:MOST_FINDINGS])
    found.extend(islice(checked(document), MOST_FINDINGS))
    if found or shape is None:
        raise Findings(sorted(found, key=lambda finding: finding.order)[:MOST_FINDINGS])
    return build(shape, document), {camera.name for camera in shape.cameras if camera.turnaround is None}
