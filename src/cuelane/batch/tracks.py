"""Which tracks a batch is asked for: every plan, by its variants, voices and formats."""

from __future__ import annotations

import glob
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from cuelane.base.errors import PlanError, UsageError
from cuelane.base.ordinary import read_ordinary
from cuelane.media.formats import SUFFIXES
from cuelane.plan.file_kinds import is_series
from cuelane.plan.load import load_plan
from cuelane.plan.model import Variant
from cuelane.plan.phrases import did_you_mean, listing, names, quoted
from cuelane.plan.series import LoadedSeries
from cuelane.plan.source_text import MAX_FILE_BYTES
from cuelane.plan.variants import PLAIN, Chosen

MOST_TRACKS = 100_000
_SUFFIXES = (".yaml", ".yml")


@dataclass(frozen=True)
class Track:
    """One track to make; ``name`` is its path in the folder of results without its ending, ``suffix``."""

    name: str
    suffix: str
    plan: Path
    variant: Chosen | None = None
    voice: str | None = None


@dataclass(frozen=True)
class Asked:
    """What the command, and behind it the series, asks for; empty tuples leave it to the plan."""

    formats: tuple[str, ...] = ("m4a",)
    voices: tuple[str, ...] = ()
    variants: tuple[str, ...] = ()
    usual_voices: bool = False
    """Whether the voices are only the series' usual ones; a variant with a voice of its own keeps that."""


def plan_files(given: Sequence[Path], series: LoadedSeries | None) -> list[Path]:
    """Return the plans that are meant, in order, none twice.

    A folder stands for the plans in it, a name with ``*`` for what it fits. Without any, those of the series.

    Raises
    ------
    UsageError : nothing there, or no plan in it.
    """
    found: list[Path] = []
    for path in given:
        if path.is_dir():
            inside = sorted(one for one in path.iterdir() if _may_be_a_plan(one))
            if not inside:
                raise UsageError(f"{path}: holds no plan (a file that ends in .yaml)")
            found += inside
        elif not path.exists() and glob.has_magic(str(path)):
            try:
                every = sorted(Path(path.anchor).glob(str(path.relative_to(path.anchor))))
            except ValueError as error:
                # What pathlib raises for a pattern it cannot follow; taken from its anchor, none is absolute.
                raise UsageError(f"{path}: is no pattern of file names: {error}") from error
            fitting = [one for one in every if _may_be_a_plan(one)]
            if not fitting:
                raise UsageError(f"{path}: fits no plan")
            found += fitting
        else:
            found.append(path)
    if not found and series is not None:
        found = list(series.plans)
    if not found:
        raise UsageError("name at least one plan, or a series that lists its plans")
    return list({path.resolve(): path for path in found}.values())


def tracks(plans: Sequence[Path], series: LoadedSeries | None, asked: Asked) -> list[Track]:
    """Return every track, in the order of plans, variants, voices and formats.

    Without names every plan is made as it is, and with each variant of the series. A variant that is asked
    for by name may be the series' or a plan's own; a plan that has none of that name is passed over. Several
    formats have a folder each, since what is written beside a track has its name.

    Raises
    ------
    UsageError : no such format, no plan has such a variant, two tracks would have one name, or there are too
        many.
    """
    suffixes = list(dict.fromkeys(map(_suffix, asked.formats)))
    voices: list[str | None] = list(dict.fromkeys(asked.voices)) or [None]
    found: list[Track] = []
    used: set[str] = set()
    known: set[str] = {PLAIN}
    for plan in plans:
        for variant in _variants(plan, series, asked.variants, known):
            used.add(variant.name if variant is not None else PLAIN)
            own_voice = asked.usual_voices and variant is not None and "voice" in variant.keys
            for voice in [None] if own_voice else voices:
                parts = [plan.stem, variant.name if variant is not None else ""]
                parts.append(voice if voice is not None and len(voices) > 1 else "")
                name = "-".join(_for_a_name(part) if i else part for i, part in enumerate(parts) if part)
                for suffix in suffixes:
                    folder = f"{suffix[1:]}/" if len(suffixes) > 1 else ""
                    found.append(Track(folder + name, suffix, plan, variant, voice))
        if len(found) > MOST_TRACKS:
            raise UsageError(f"this comes to more than {MOST_TRACKS:,} tracks; make them in parts")
    for missing in (name for name in asked.variants if name not in used):
        hint = did_you_mean(missing, sorted(known)) or f"there are: {names(sorted(known))}"
        raise UsageError(f"none of these plans has a variant {quoted(missing)}; {hint}")
    if series is not None:
        _require_named(plans, series)
    _require_distinct(found)
    return found


def notes_on(found: Sequence[Track], series: LoadedSeries | None) -> list[str]:
    """Return a note for each variant whose tracks are as if nothing had been changed, in the order made.

    Where any plan is changed, or is wrong, which is said when its track is made, nothing is noted.
    """
    variants: dict[str, tuple[Chosen, set[Path]]] = {}
    for track in found:
        if track.variant is not None:
            variants.setdefault(track.variant.name, (track.variant, set()))[1].add(track.plan)
    notes = []
    for name, (variant, plans) in variants.items():
        given = series.series.variants.get(name) if series is not None else None
        place = f"{given.mark}: " if given is not None and given.mark is not None else ""
        if not any(_changes(plan, variant) for plan in sorted(plans)):
            notes.append(f"{place}variant {quoted(name)} changes nothing in any of these plans")
    return notes


def _changes(plan: Path, variant: Chosen) -> bool:
    try:
        plain, varied = load_plan(plan), load_plan(plan, variant=variant)
    except PlanError:
        return True
    return plain.pace != varied.pace or plain.plan.model_dump() != varied.plan.model_dump()


def _suffix(asked: str) -> str:
    """Return the ending of a format, asked for with its dot or without, in capitals or not."""
    suffix = "." + asked.strip().lstrip(".").lower()
    if suffix not in SUFFIXES:
        known = listing(one[1:] for one in SUFFIXES)
        raise UsageError(f"there is no format {quoted(asked)}; choose {known}")
    return suffix


def _may_be_a_plan(path: Path) -> bool:
    """Tell whether a file of a folder is taken for a plan: by its ending, and not if it is a series."""
    if path.suffix.lower() not in _SUFFIXES or not path.is_file():
        return False
    try:
        text = read_ordinary(path, MAX_FILE_BYTES).decode("utf-8", "replace")
    except OSError:
        return True
    return not is_series(text)


def _variants(
    plan: Path, series: LoadedSeries | None, named: Sequence[str], known: set[str]
) -> list[Chosen | None]:
    shared: dict[str, Chosen | None] = {PLAIN: None}
    shared |= {one.name: one for one in series.variants} if series is not None else {}
    known.update(shared)
    if not named:
        return list(shared.values())
    own: dict[str, Chosen | None] = {}
    if not set(named) <= shared.keys():
        try:
            given = load_plan(plan).plan.variants
            own = {name: Chosen(name, keys=frozenset(one.model_fields_set)) for name, one in given.items()}
        except PlanError:
            # The plan is wrong: that is said when its track is made.
            own = {name: Chosen(name) for name in named if name not in shared}
    known.update(own)
    both = own | shared
    return [both[name] for name in dict.fromkeys(named) if name in both]


def _for_a_name(text: str) -> str:
    return "".join(letter if letter.isalnum() or letter in "-_" else "-" for letter in text).strip("-")[:60]


def _require_distinct(found: Sequence[Track]) -> None:
    first: dict[str, Track] = {}
    for track in found:
        key = (track.name + track.suffix).casefold()
        other = first.setdefault(key, track)
        if other is not track:
            both = f"{_called(track)} and {_called(other)}"
            raise UsageError(f"{both} would both make {track.name}{track.suffix}; rename one")


def _called(track: Track) -> str:
    return (
        f"{track.plan}" if track.variant is None else f"variant {quoted(track.variant.name)} of {track.plan}"
    )


def _require_named(plans: Sequence[Path], series: LoadedSeries) -> None:
    """Refuse a variant of the series that names an exercise or a block that none of the plans has."""
    named = {name: _names_in(variant) for name, variant in series.series.variants.items()}
    if not any(named.values()):
        return
    known: set[str] = set()
    for plan in plans:
        try:
            found = load_plan(plan).plan
        except PlanError:
            return
        known |= set(found.exercises) | {str(item.block) for item in found.session if hasattr(item, "block")}
    for name, said in named.items():
        for one in said - known:
            hint = did_you_mean(one, sorted(known)) or f"there are: {names(sorted(known))}"
            place = series.series.variants[name].mark or series.path
            raise UsageError(
                f"{place}: variant {quoted(name)} names {quoted(one)}, which no plan has; {hint}"
            )


def _names_in(variant: Variant) -> set[str]:
    return {*variant.leave_out, *variant.swap, *variant.swap.values(), *variant.blocks}
