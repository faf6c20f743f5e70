"""Which tracks a batch is asked for: every plan, by its variants, voices and formats."""

from __future__ import annotations

import glob
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from cuelane.base.errors import PlanError, UsageError
from cuelane.media.formats import format_of
from cuelane.plan.load import load_plan
from cuelane.plan.phrases import did_you_mean, names, quoted
from cuelane.plan.series import LoadedSeries
from cuelane.plan.variants import Chosen

PLAIN = "plain"
"""How the plan as it is, without a variant, is called where variants are named."""

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
            inside = sorted(
                one for one in path.iterdir() if one.suffix.lower() in _SUFFIXES and one.is_file()
            )
            inside = [one for one in inside if series is None or one.resolve() != series.path.resolve()]
            if not inside:
                raise UsageError(f"{path}: holds no plan (a file that ends in .yaml)")
            found += inside
        elif not path.exists() and glob.has_magic(str(path)):
            fitting = sorted(Path(path.anchor).glob(str(path.relative_to(path.anchor))))
            if not fitting:
                raise UsageError(f"{path}: fits no file")
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
    UsageError : no plan has such a variant, two tracks would have one name, or there are too many.
    """
    suffixes = [format_of("track." + one.lstrip(".")).suffix for one in dict.fromkeys(asked.formats)]
    voices: list[str | None] = list(dict.fromkeys(asked.voices)) or [None]
    found: list[Track] = []
    used: set[str] = set()
    known: set[str] = {PLAIN}
    for plan in plans:
        for variant in _variants(plan, series, asked.variants, known):
            used.add(variant.name if variant is not None else PLAIN)
            for voice in voices:
                parts = [plan.stem, variant.name if variant is not None else ""]
                parts.append(voice or "" if len(voices) > 1 else "")
                name = "-".join(_for_a_name(part) if i else part for i, part in enumerate(parts) if part)
                for suffix in suffixes:
                    folder = f"{suffix[1:]}/" if len(suffixes) > 1 else ""
                    found.append(Track(folder + name, suffix, plan, variant, voice))
        if len(found) > MOST_TRACKS:
            raise UsageError(f"this comes to more than {MOST_TRACKS:,} tracks; make them in parts")
    for missing in (name for name in asked.variants if name not in used):
        hint = did_you_mean(missing, sorted(known)) or f"there are: {names(sorted(known))}"
        raise UsageError(f"none of these plans has a variant {quoted(missing)}; {hint}")
    _require_distinct(found)
    return found


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
            own = {name: Chosen(name) for name in load_plan(plan).plan.variants}
        except PlanError:
            # Told when its turn comes to be made.
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
            raise UsageError(
                f"{track.plan} and {other.plan} would both make {track.name}{track.suffix}; rename one"
            )
