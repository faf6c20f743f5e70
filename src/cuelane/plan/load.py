"""From a plan file to a checked plan with its includes; all their problems are reported at once.

A plan may come from anywhere, so nothing in one reaches outside its folder and every size has a limit:
see source_text, parse, own_folder and limits. Included plans lie inside the folder of the outermost
one, not in a circle, at most ``MAX_INCLUDE_DEPTH`` deep and ``MAX_INCLUDES`` in all.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from pathlib import Path

from cuelane.base.errors import Mark, PlanError, Problem
from cuelane.plan.build import Parts, build
from cuelane.plan.checks import check, check_voice
from cuelane.plan.limits import MAX_INTERVALS, MAX_LENGTH_MS, Size, size_of
from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.model import Include, Item
from cuelane.plan.own_folder import file_inside
from cuelane.plan.parse import Budget, parse
from cuelane.plan.source_text import MAX_ALL_CHARACTERS, MAX_PROBLEMS, Lines, fail, read_lines
from cuelane.plan.variants import Chosen, check_variants, varied

MAX_INCLUDE_DEPTH = 8
MAX_INCLUDES = 64


def load_plan(
    path: Path,
    voices: Callable[[Path], Collection[str]] | None = None,
    *,
    text: str | None = None,
    variant: Chosen | None = None,
    default_voice: Callable[[str], str] | None = None,
) -> LoadedPlan:
    """Return the plan at `path`, checked, with all it includes; every model object knows its place.

    `voices` names the voices that a plan in a folder can have. Without it the plan's voice is not checked,
    since another voice may have been chosen to speak. `text` is read in place of the file's content, for a
    plan that is being written. `variant` is made of the plan, if one is given.

    Raises
    ------
    PlanError : with every problem of the plan and its includes, in file order.
    """
    loader = _Loader(Path(path), voices, text, variant)
    loaded = loader.file(loader.path, str(path), ())
    problems = list(dict.fromkeys(loader.problems))
    if problems or loaded is None:
        if len(problems) > MAX_PROBLEMS:
            loader.n_unlisted += len(problems) - MAX_PROBLEMS
            problems = problems[:MAX_PROBLEMS]
        if loader.n_unlisted:
            message = f"and {loader.n_unlisted:,} more, which are not listed"
            problems.append(Problem(problems[-1].mark, message))
        raise PlanError(problems)
    plan = loaded.plan
    if default_voice is not None and not plan.names_voice:
        spoken = plan.plan.model_copy(update={"voice": default_voice(plan.plan.language)})
        plan = replace(plan, plan=spoken)
    if variant is None:
        return plan
    own = plan.plan.variants.get(variant.name)
    pace = variant.pace if variant.changes is not None or own is None else own.pace
    return replace(plan, variant=variant.name, pace=1.0 if pace is None else pace)


@dataclass
class _Known:
    """A file that has been read: the plan itself, and its size with its includes."""

    plan: LoadedPlan
    size: Size
    depth: int
    n_includes: int


@dataclass
class _Loader:
    path: Path
    voices: Callable[[Path], Collection[str]] | None = None
    text: str | None = None
    variant: Chosen | None = None
    problems: list[Problem] = field(default_factory=list)
    n_unlisted: int = 0
    n_characters: int = 0
    known: dict[Path, _Known | None] = field(default_factory=dict)
    budget: Budget = field(default_factory=Budget)

    def file(self, path: Path, name: str, chain: tuple[Path, ...]) -> _Known | None:
        """Return a plan file and all it includes, or None where any of it is wrong."""
        try:
            unsaved = self.text if not chain else None
            lines = read_lines(path, name) if unsaved is None else Lines(name, unsaved)
            self.n_characters += len(lines.text)
            if self.n_characters > MAX_ALL_CHARACTERS:
                raise fail(name, "with this file the plan and all it includes are larger than 1 MiB")
            tree = parse(lines, self.budget)
            if self.variant is not None and not chain:
                tree = varied(lines, tree, self.variant)
        except PlanError as error:
            self.problems += error.problems
            return None
        parts = build(lines, tree)
        check(lines, parts, path.parent)
        check_variants(lines, parts)
        if self.voices is not None and not chain and parts.voice is not None:
            check_voice(lines, parts, self.voices(path.parent))
        place = len(self.problems)
        known = self.includes(lines, parts, path, (*chain, path.resolve()))
        size = self.size(lines, parts, known or {})
        self.problems[place:place] = sorted(lines.problems, key=lambda problem: problem.mark)
        self.n_unlisted += lines.n_unlisted
        if parts.plan is None or lines.problems or known is None:
            return None
        names_voice = "voice" in parts.plan.model_fields_set
        inner_plans = {i: k.plan for i, k in known.items()}
        loaded = LoadedPlan(parts.plan, path, lines.lines, inner_plans, names_voice=names_voice)
        depth = max((inner.depth + 1 for inner in known.values()), default=0)
        return _Known(loaded, size, depth, sum(inner.n_includes + 1 for inner in known.values()))

    def includes(
        self, lines: Lines, parts: Parts, path: Path, chain: tuple[Path, ...]
    ) -> dict[int, _Known] | None:
        """Return the plans that a file includes, by their place in its session; None where one is wrong."""
        found: dict[int, _Known] = {}
        n_includes, right = 0, True
        for index, item in enumerate(parts.session):
            if not isinstance(item, Include):
                continue
            mark = item.mark_of("include") or Mark(lines.file, 1, 1)
            inner = self.included(lines, item, mark, path, chain)
            if inner is not None:
                found[index] = inner
                n_includes += inner.n_includes + 1
                if len(chain) + inner.depth > MAX_INCLUDE_DEPTH:
                    message = f"includes are nested more than {MAX_INCLUDE_DEPTH} deep here"
                    lines.report(mark, message, "include that plan from higher up")
                    inner = None
                elif n_includes > MAX_INCLUDES:
                    message = f"more than {MAX_INCLUDES} plans are included, counting those inside them"
                    lines.report(mark, message, "split the series")
                    return None
            right = right and inner is not None
        return found if right else None

    def included(
        self, lines: Lines, item: Include, mark: Mark, path: Path, chain: tuple[Path, ...]
    ) -> _Known | None:
        if not item.include.endswith((".yaml", ".yml")):
            message = f"include: expected a plan file that ends in .yaml, but got '{item.include}'"
            lines.report(mark, message)
            return None
        target = file_inside(self.path.parent, path.parent, item.include)
        if isinstance(target, tuple):
            lines.report(mark, f"include: {target[0]}", target[1])
            return None
        resolved = target.resolve()
        name = str(Path(lines.file).parent / item.include)
        if resolved in chain:
            circle = [*chain[chain.index(resolved) :], resolved]
            message = f"include: this goes in a circle: {' → '.join(step.name for step in circle)}"
            lines.report(mark, message, "remove one of these includes")
            return None
        if len(chain) > MAX_INCLUDE_DEPTH:
            message = f"includes are nested more than {MAX_INCLUDE_DEPTH} deep here"
            lines.report(mark, message, "include that plan from higher up")
            return None
        if resolved not in self.known:
            if len(self.known) >= MAX_INCLUDES:
                message = f"more than {MAX_INCLUDES} plans are included, counting those inside them"
                lines.report(mark, message, "split the series")
                return None
            self.known[resolved] = self.file(target, name, chain)
        return self.known[resolved]

    def size(self, lines: Lines, parts: Parts, known: dict[int, _Known]) -> Size:
        """Return a file's size with its includes; the first item that passes a limit is noted."""
        total = Size()
        for index, item in enumerate(parts.session):
            total += known[index].size if index in known else size_of(item, parts.exercises)
            too_many = total.n_intervals > MAX_INTERVALS
            if too_many or total.length_ms > MAX_LENGTH_MS:
                limit = f"{MAX_INTERVALS:,} intervals" if too_many else "24 hours"
                hint = "make it shorter, or two plans of it"
                lines.report(_mark(item, lines), f"with this the session comes to more than {limit}", hint)
                break
        return total


def _mark(item: Item | None, lines: Lines) -> Mark:
    return (item.mark if item is not None else None) or Mark(lines.file, 1, 1)
