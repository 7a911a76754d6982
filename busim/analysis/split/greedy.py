"""A quick, built-in split: the most demanding cameras first, then improvements by single moves.

It tries three starts: the present lines, if they hold; each camera on the first line with room (first-fit decreasing;
with equal lines and one scarce limit it takes at most 11/9 of the fewest lines, and 6/9 of one: Dosa 2007, from
memory); each camera on the line that it lengthens least. Then it empties lines into others if possible, and moves or
exchanges cameras while that saves cable. The best result wins.
"""

from __future__ import annotations

from collections.abc import Callable

from busim.analysis.split.problem import Answer, Line, Problem, free_kinds, joined, line_of
from busim.analysis.split.routes import insertion, spare

_ROUNDS = 60  # rounds of improvement; each saves cable, and drawn halls of 100 cameras needed no more


def greedy(problem: Problem) -> Answer:
    """A split that holds, with as few lines as this search finds."""
    answers = [_filled(problem, choose, Answer([], [])) for choose in (_first, _nearest)]
    if problem.planned:
        answers.append(_filled(problem, _nearest, _planned(problem)))
    for answer in answers:
        _emptied(problem, answer)
    few = min((len(answer.left), len(answer.lines)) for answer in answers)
    answers = [answer for answer in answers if (len(answer.left), len(answer.lines)) == few]
    for answer in answers:
        mended(problem, answer)
    best = min(answers, key=lambda answer: answer.rank)
    best.proven = not best.left and len(best.lines) <= problem.least
    return best


_Room = list[tuple[int, Line, float]]  # number of the line, the line with the camera, additional metres
_Choose = Callable[[_Room], _Room]


def _planned(problem: Problem) -> Answer:
    """The present lines, those that hold."""
    kept = [(kind, group) for kind, group in enumerate(problem.planned) if group and problem.holds(kind, group)]
    return Answer([line_of(problem, kind, group) for kind, group in kept], [])


def _filled(problem: Problem, choose: _Choose, answer: Answer) -> Answer:
    """The unplaced cameras one by one, the most demanding first."""
    placed = {camera for line in answer.lines for camera in line.route}
    smallest = problem.needs.max(axis=2, initial=0.0).min(axis=0, initial=1.0)
    for camera in sorted(set(range(problem.count)) - placed, key=lambda camera: (-smallest[camera], camera)):
        room = []
        for number, line in enumerate(answer.lines):
            longer = joined(problem, line, camera)
            if longer is not None:
                room.append((number, longer, longer.metres - line.metres))
        judged = (one for one in choose(room) if problem.judged(one[1].kind, one[1].group(problem)))
        chosen = next(judged, None)
        if chosen is not None:
            answer.lines[chosen[0]] = chosen[1]
        else:
            opened = _opened(problem, answer, camera)
            if opened is None:
                answer.left.append(camera)
            else:
                answer.lines.append(opened)
    return answer


def _first(room: _Room) -> _Room:
    return room


def _nearest(room: _Room) -> _Room:
    return sorted(room, key=lambda one: (one[2], one[0]))


def _opened(problem: Problem, answer: Answer, camera: int) -> Line | None:
    """A new line: of the kind on which the camera needs least, and of those the nearest."""
    kinds = [kind for kind in free_kinds(problem, answer.lines) if problem.alone[kind, camera]]
    if not kinds:
        return None
    needs = problem.needs[:, camera].max(axis=1, initial=0.0)
    best = min(kinds, key=lambda kind: (round(needs[kind], 3), problem.away[kind, camera], kind))
    return line_of(problem, best, frozenset((camera,)))


def _emptied(problem: Problem, answer: Answer) -> None:
    """Remove lines whose cameras find room in the others, one after the other."""
    while _one_emptied(problem, answer):
        pass


def _one_emptied(problem: Problem, answer: Answer) -> bool:
    for line in sorted(answer.lines, key=lambda line: len(line.route)):
        others = [other for other in answer.lines if other is not line]
        for camera in sorted(line.group(problem), key=lambda one: -problem.needs[line.kind, one].max(initial=0.0)):
            places = [(at, longer) for at, other in enumerate(others) if (longer := joined(problem, other, camera))]
            places.sort(key=lambda place: place[1].metres - others[place[0]].metres)
            fit = next((one for one in places if problem.judged(one[1].kind, one[1].group(problem))), None)
            if fit is None:
                break
            others[fit[0]] = fit[1]
        else:
            answer.lines = others
            return True
    return False


def mended(problem: Problem, answer: Answer) -> None:
    """Save cable: another converter for a whole line, a camera on another line, two cameras exchanged."""
    for _ in range(_ROUNDS):
        if not (_rehung(problem, answer) or _shifted(problem, answer) or _exchanged(problem, answer)):
            return


def _rehung(problem: Problem, answer: Answer) -> bool:
    """A line on a free converter that is nearer."""
    for number, line in enumerate(answer.lines):
        group = line.group(problem)
        for kind in free_kinds(problem, answer.lines):
            if problem.alone[kind, list(group)].all() and problem.adds_up(kind, group):
                other = line_of(problem, kind, group)
                if other.metres < line.metres - 1e-6 and problem.holds(kind, group):
                    answer.lines[number] = other
                    return True
    return False


def _shifted(problem: Problem, answer: Answer) -> bool:
    """One camera on another line."""
    for number, line in enumerate(answer.lines):
        for at, camera in enumerate(line.route):
            if camera == problem.count or len(line.route) == 2:
                continue
            spared = spare(problem.rows[line.kind], line.route, at)
            for place, other in enumerate(answer.lines):
                if place == number:
                    continue
                _, more = insertion(problem.rows[other.kind], other.route, camera, int(problem.kinds[other.kind].ends))
                if spared - more > 1e-6 and _kept(problem, answer, {number: (camera, None), place: (None, camera)}):
                    return True
    return False


def _exchanged(problem: Problem, answer: Answer) -> bool:
    """Two cameras of two lines."""
    lines = answer.lines
    for one, line in enumerate(lines):
        for other in range(one + 1, len(lines)):
            for at, camera in enumerate(line.route):
                if camera == problem.count:
                    continue
                rest, spared = _without(problem, line, at)
                for where, second in enumerate(lines[other].route):
                    if second == problem.count:
                        continue
                    remaining, saved = _without(problem, lines[other], where)
                    more = insertion(problem.rows[line.kind], rest, second)[1]
                    more += insertion(problem.rows[lines[other].kind], remaining, camera)[1]
                    swap: dict[int, tuple[int | None, int | None]] = {one: (camera, second), other: (second, camera)}
                    if spared + saved - more > 1e-6 and _kept(problem, answer, swap):
                        return True
    return False


def _without(problem: Problem, line: Line, at: int) -> tuple[list[int], float]:
    return [*line.route[:at], *line.route[at + 1 :]], spare(problem.rows[line.kind], line.route, at)


def _kept(problem: Problem, answer: Answer, changes: dict[int, tuple[int | None, int | None]]) -> bool:
    """Apply changes (line: out, in) if every line holds and the cable gets shorter. Returns whether
    they were applied.
    """
    found = {}
    for number, (out, into) in changes.items():
        line = answer.lines[number]
        group = (line.group(problem) - {out}) | ({into} if into is not None else set())
        if into is not None and not problem.alone[line.kind, into]:
            return False
        if not problem.adds_up(line.kind, group):
            return False
        found[number] = line_of(problem, line.kind, group)
    before = sum(answer.lines[number].metres for number in changes)
    if sum(line.metres for line in found.values()) >= before - 1e-6:
        return False
    if not all(problem.holds(line.kind, line.group(problem)) for line in found.values()):
        return False  # last, since the judge takes longest
    for number, line in found.items():
        answer.lines[number] = line
    return True
