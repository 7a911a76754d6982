"""The declaration of a fault, made once; all other places read it.

The plan's schema, `busim explain FAULT`, the page of the handbook, the lines typed into a session, the HTTP API and the
fuzzer take names, bounds and texts from a `Fault`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from busim.foundation.errors import Defect, UserError
from busim.foundation.yaml_source import suggestion
from busim.protocols import BusProtocol
from busim.simulator.fault_hooks import Remove
from busim.simulator.faults.parameters import Parameter, Values

On = Literal["camera", "converter", "line"]

COMMON = "Common practice, no source"

Hidden = Literal["requests", "replies", "late-replies", "late-requests", "added-requests", "swallowed-requests"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault. `on`: the kind of its place; `code`: its number in the catalogue, `also`: others that it serves;
    `hook`: the hook point it fills.

    `put`: applies it at a bench of that kind (`benches`) with values for all parameters, and returns the function that
    ends it. `wire`: its effect on the line; `seen`: what a master sees. `hides`: what it changes, delays or adds
    between the line and the network, where no record of the line shows it: requests, replies, replies that are
    delivered after later requests, requests that it holds back, that it adds, or that it takes over a connection and
    never sends. `says`: makes a message that it sends on its own, of its values, in a protocol (Defect: it has none).
    Every fault is off until it is switched on.
    """

    name: str
    code: str
    title: str
    on: On
    hook: str
    wire: str
    seen: str
    parameters: tuple[Parameter, ...]
    put: Callable[[Any, Values], Remove]
    source: str = COMMON
    also: tuple[str, ...] = ()
    hides: tuple[Hidden, ...] = ()
    says: Callable[[BusProtocol, Values], bytes] | None = None

    @property
    def codes(self) -> tuple[str, ...]:
        """Every number of the catalogue that it serves, its own first."""
        return (self.code, *self.also)

    def read(self, given: Mapping[str, object]) -> dict[str, Any]:
        """Values for all parameters: those given, as written, and defaults. Raises UserError."""
        known = {parameter.name: parameter for parameter in self.parameters}
        for name in given:
            if name not in known:
                raise UserError(
                    f"fault {self.name} has no such parameter", field=name, found=repr(name[:60]),
                    expected="one of " + ", ".join(known) if known else "no parameters",
                    mend=suggestion(name, known, f"`busim explain {self.name}` lists them"),
                )  # fmt: skip
        return {name: one.read(given.get(name, one.default)) for name, one in known.items()}

    def fits(self, protocol: BusProtocol, values: Values) -> None:
        """Raises UserError for values of which the protocol of its place can make no message."""
        if self.says is None:
            return
        try:
            self.says(protocol, values)
        except Defect:
            raise UserError(
                f"protocol {protocol.name} has no message for fault {self.name} with these values", field="key",
                found=", ".join(f"{name} {text}" for name, text in self.written(values).items()),
                expected="numbers that fit into its messages", mend="write smaller ones",
            ) from None  # fmt: skip

    def written(self, values: Values) -> dict[str, str]:
        """Values as written in a plan."""
        return {one.name: one.written(values[one.name]) for one in self.parameters}

    def schema(self) -> dict[str, Any]:
        """JSON Schema of its parameters."""
        return {one.name: one.schema() for one in self.parameters}

    def as_json(self) -> dict[str, Any]:
        """The whole declaration, JSON-ready."""
        return {
            "name": self.name, "code": self.code, "title": self.title, "on": self.on, "hook": self.hook,
            "also": list(self.also), "hides": list(self.hides), "wire": self.wire, "seen": self.seen,
            "source": self.source,
            "parameters": [
                {
                    "name": one.name, "kind": one.kind, "what": one.what, "default": one.default, "low": one.low,
                    "high": one.high, "words": list(one.words),
                }
                for one in self.parameters
            ],
        }  # fmt: skip

    def page(self) -> str:
        """Its page, as markdown."""
        rows = "\n".join(f"- `{one.name}`: {one.what}; {one.bounds}. Default `{one.default or 'none'}`."
                         for one in self.parameters)  # fmt: skip
        first = self.parameters[0] if self.parameters else None
        said = f" {first.name}={_unspaced(first.default)}" if first is not None and first.default else ""
        entry = f"  - fault: {self.name}\n    on: NAME OF A {self.on.upper()}\n    at: 10 s\n    for: 5 s\n"
        if said and first is not None:
            entry += f"    {first.name}: {_quoted(first)}\n"
        return (
            f"# {self.title}\n\n`{self.name}`, a fault of a {self.on} (catalogue {', '.join(self.codes)}).\n\n"
            f"**On the wire.** {self.wire}\n\n**What a master sees.** {self.seen}\n\n"
            f"**Parameters.**\n\n{rows or 'None.'}\n\n**Source.** {self.source}. Ranges and defaults lie "
            "within reported cases; nobody has published how often each one happens.\n\n"
            f"In a plan, off but for five seconds:\n\n```yaml\nfaults:\n{entry}```\n\n"
            f"Typed into `busim serve`:\n\n```text\nfault {self.name} on NAME{said}\nfault {self.name} off\n```\n"
        )


def _unspaced(text: str) -> str:
    return text.replace(" ", "")


def _quoted(parameter: Parameter) -> str:
    """The default as YAML: bytes would be read as a number."""
    return f'"{parameter.default}"' if parameter.kind == "bytes" else parameter.default
