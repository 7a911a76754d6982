"""Relations between the parameters of a model: locks, limits, controls, presets, motors; with their checks.

A limited parameter limits no other, and no control or motor moves it. A control moves no other control. So all effects
of one write are known at once, without loops.
"""

from __future__ import annotations

from collections.abc import Iterable

from busim.foundation.schema import Notebook
from busim.foundation.yaml_source import join, suggestion
from busim.plan.models.model import Control, Limit, Lock, Motor, Order, Parameter, Presets
from busim.plan.models.shapes import LimitShape, ModelShape


class Relations:
    """Reads them one kind after the other; `known`: the model's parameters."""

    def __init__(self, shape: ModelShape, known: dict[str, Parameter], notes: Notebook) -> None:
        self._shape = shape
        self._known = known
        self._notes = notes

    def _parameter(self, field: str, name: str, *, at_key: bool = False) -> Parameter | None:
        parameter = self._known.get(name)
        if parameter is None:
            self._notes.note(
                field,
                "no-such-parameter",
                "there is no parameter of this name",
                at_key=at_key,
                found=repr(name[:60]),
                expected="a parameter of this model",
                mend=suggestion(name, self._known, "declare it under `parameters`"),
            )
        return parameter

    def _settable(self, field: str, name: str, *, at_key: bool = False, only: tuple[str, ...] = ()) -> bool:
        parameter = self._parameter(field, name, at_key=at_key)
        if parameter is None:
            return False
        if not parameter.writable or (only and parameter.kind not in only):
            wanted = " or ".join(f"`kind: {kind}`" for kind in only) or "a parameter that can be written"
            self._notes.note(
                field,
                "wrong-kind",
                "this parameter has the wrong kind",
                at_key=at_key,
                found=f"`kind: {parameter.kind}`",
                expected=wanted,
                mend="name another parameter",
            )
            return False
        return True

    def _each(self, field: str, names: Iterable[str], only: tuple[str, ...] = ()) -> tuple[str, ...]:
        """The valid names of a list, each once."""
        good: list[str] = []
        for index, name in enumerate(names):
            place = join(field, index)
            if name in good:
                self._notes.note(
                    place, "named-twice", "named twice in one list", found=repr(name), expected="each once"
                )
            elif self._settable(place, name, only=only):
                good.append(name)
        return tuple(good)

    # -- locks and limits -------------------------------------------------------------------------------------

    def locks(self) -> tuple[Lock, ...]:
        found = []
        for index, entry in enumerate(self._shape.locks):
            field = join("locks", index)
            names = self._each(f"{field}.locks", entry.locks)
            when = self._parameter(f"{field}.when", entry.when)
            if when is not None:
                if not when.low <= entry.equals <= when.high:
                    self._notes.note(
                        f"{field}.equals",
                        "out-of-bounds",
                        f"`{when.name}` never has this value",
                        found=str(entry.equals),
                        expected=f"{when.low} to {when.high}",
                    )
                if when.name in names:
                    self._notes.note(
                        f"{field}.locks",
                        "locks-itself",
                        f"`{when.name}` would lock itself",
                        expected="other parameters",
                        mend="remove it: once locked, it could never be changed back",
                    )
            found.append(Lock(entry.when, entry.equals, names, entry.reason))
        return tuple(found)

    def limits(self) -> tuple[Limit, ...]:
        found = []
        for index, entry in enumerate(self._shape.limits):
            field = join("limits", index)
            limited = self._settable(f"{field}.limits", entry.limits)
            by = self._parameter(f"{field}.by", entry.by)
            if not limited or by is None:
                continue
            limit = Limit(
                entry.limits,
                entry.by,
                self._by_count(f"{field}.lowest", entry.lowest, by),
                self._by_count(f"{field}.highest", entry.highest, by),
                entry.product or 0,
                entry.reason,
            )
            self._has_one(field, entry)
            found.append(limit)
        self._no_circles(found)
        self._leave_room(found)
        return tuple(found)

    def _has_one(self, field: str, entry: LimitShape) -> None:
        if entry.product is None and not entry.lowest and not entry.highest:
            self._notes.note(
                field,
                "missing-key",
                "a limit that limits nothing",
                expected="`lowest`, `highest` or `product`",
                mend="add `highest: {50p: 2000}`, for example",
            )

    def _by_count(self, field: str, table: dict[str, int], by: Parameter) -> dict[int, int]:
        """The counts of the limiting parameter, from the word of a choice or a number."""
        words = {word: by.low + number for number, word in enumerate(by.choices)}
        counts = {}
        for word, end in table.items():
            count = words.get(word, int(word) if word.isdecimal() and len(word) < 6 else -1)
            if not by.low <= count <= by.high:
                self._notes.note(
                    self._notes.below(field, word),
                    "out-of-bounds",
                    f"`{by.name}` never has this value",
                    at_key=True,
                    found=repr(word[:60]),
                    expected=", ".join(words) or f"{by.low} to {by.high}",
                )
            counts[count] = end
        return counts

    def _no_circles(self, limits: list[Limit]) -> None:
        moved = {name for entry in self._shape.controls.values() for name in (*entry.moves, *entry.against)}
        moved |= {*self._shape.controls, *self._shape.motors}
        limiting = {limit.by for limit in limits}
        for index, limit in enumerate(limits):
            if limit.limits in limiting or limit.limits in moved:
                what = "limits another" if limit.limits in limiting else "is moved by a control or a motor"
                self._notes.note(
                    f"{join('limits', index)}.limits",
                    "in-a-circle",
                    f"a limited parameter that {what}",
                    found=repr(limit.limits),
                    expected="a parameter that no other entry limits by or moves",
                )

    def _leave_room(self, limits: list[Limit]) -> None:
        """Check that every limit leaves a value for its parameter, and that the defaults are within the limits."""
        for index, limit in enumerate(limits):
            field, one, by = join("limits", index), self._known[limit.limits], self._known[limit.by]
            same = [other for other in limits if other.limits == limit.limits]
            lowest = max([one.low, *(end for other in same for end in other.lowest.values())])
            for count in sorted({by.low, by.high, *limit.lowest, *limit.highest}):
                ends = limit.floor(count), limit.ceiling(count)
                if ends[0] > one.high or ends[0] > ends[1] or ends[1] < lowest:
                    self._notes.note(
                        field,
                        "no-room",
                        f"this limit leaves no value for `{one.name}`",
                        found=f"`{by.name}` at {count}",
                        expected=f"at least one count from {one.low} to {one.high}",
                    )
                    break
            if not limit.floor(by.default) <= one.default <= limit.ceiling(by.default):
                self._notes.note(
                    field,
                    "out-of-bounds",
                    "the defaults are not within this limit",
                    found=f"`{one.name}` {one.default} with `{by.name}` {by.default}",
                    expected="defaults that keep the limit",
                )

    # -- what moves -------------------------------------------------------------------------------------------

    def controls(self) -> tuple[Control, ...]:
        found = []
        for name, entry in self._shape.controls.items():
            field = self._notes.below("controls", name)
            self._settable(field, name, at_key=True, only=("range",))
            moves = self._each(f"{field}.moves", entry.moves, ("range",))
            against = self._each(f"{field}.against", entry.against, ("range",))
            bad = [one for one in (*moves, *against) if one in self._shape.controls or one in self._shape.motors]
            if bad or not (moves or against) or set(moves) & set(against):
                self._notes.note(
                    field,
                    "bad-control",
                    "a control cannot move this",
                    found=repr((bad or sorted(set(moves) & set(against)) or ["nothing"])[0]),
                    expected="other parameters of `kind: range`, each once, without a control or a motor of their own",
                )
            found.append(Control(name, moves, against))
        return tuple(found)

    def motors(self) -> tuple[Motor, ...]:
        for name in self._shape.motors:
            field = self._notes.below("motors", name)
            self._settable(field, name, at_key=True, only=("range",))
            if name in self._shape.controls:
                self._notes.note(
                    field, "bad-motor", "a control cannot have a motor", at_key=True, expected="another parameter"
                )
        return tuple(Motor(name, entry.speed, entry.dead_man) for name, entry in self._shape.motors.items())

    def presets(self) -> Presets:
        entry = self._shape.presets
        if entry is None:
            return Presets(0, ())
        holds = self._each("presets.holds", entry.holds)
        for control in self._shape.controls:
            moved = (*self._shape.controls[control].moves, *self._shape.controls[control].against)
            if control in holds and not set(moved) <= set(holds):
                self._notes.note(
                    "presets.holds",
                    "bad-preset",
                    f"it holds `{control}`, but not all parameters that `{control}` moves",
                    found=", ".join(holds)[:60],
                    expected=", ".join((control, *moved)),
                    mend="hold all of them, or none",
                )
        return Presets(entry.number, holds)

    # -- orders -----------------------------------------------------------------------------------------------

    def orders(self) -> tuple[Order, ...]:
        found = []
        for name, entry in self._shape.orders.items():
            field = self._notes.below("orders", name)
            if name in self._known:
                self._notes.note(
                    field, "duplicate-name", "a parameter has this name", at_key=True, expected="a name of its own"
                )
            if bool(entry.codes) == bool(entry.does):
                self._notes.note(
                    field,
                    "bad-order",
                    "an order needs either `does` or `codes`",
                    expected="either `does` or `codes`",
                    mend="add `does: recall`, for example",
                )
            codes = {count: action for action, count in entry.codes.items()}
            if len(codes) != len(entry.codes):
                self._notes.note(
                    f"{field}.codes", "bad-order", "two actions have the same count", expected="different counts"
                )
            self._order_fits(field, entry.does, entry.motor)
            found.append(Order(name, entry.does or "", entry.motor or "", entry.middle, codes))
        return tuple(found)

    def _order_fits(self, field: str, does: str | None, motor: str | None) -> None:
        if (does == "move") != (motor is not None) or (motor is not None and motor not in self._shape.motors):
            self._notes.note(
                f"{field}.motor" if motor is not None else field,
                "bad-order",
                "`does: move` needs one of the motors",
                found="no motor" if motor is None else repr(motor[:60]),
                expected="`motor`: one of " + (", ".join(self._shape.motors) or "none: there are no motors"),
            )
        if does in ("recall", "store") and self._shape.presets is None:
            self._notes.note(
                f"{field}.does", "bad-order", "there are no presets", expected="`presets`", mend="add `presets`"
            )
