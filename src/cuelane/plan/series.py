"""A series file: which plans belong together, how they are rendered, and what is said of them in a feed.

It is read as a plan is: by the same parser, with the same limits, and every fault with its place.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, ClassVar
from urllib.parse import urlsplit

from pydantic import BeforeValidator, Field, PlainValidator, ValidationError, WithJsonSchema

from cuelane.base.errors import Mark, PlanError
from cuelane.base.language import available_languages, pack_code
from cuelane.base.paces import MAX_PACE, MIN_PACE
from cuelane.plan.messages import got, report_all
from cuelane.plan.model import Variant
from cuelane.plan.own_folder import file_inside
from cuelane.plan.parse import Budget, parse
from cuelane.plan.parts import Part, place_parts
from cuelane.plan.phrases import quoted
from cuelane.plan.source_text import read_lines
from cuelane.plan.tree import Mapping, Node, Sequence, plain
from cuelane.plan.values import FileName, Name, Names, Text, as_list, one_or_list
from cuelane.plan.variants import PLAIN, Chosen

_ODD = re.compile(r"[\s<>\"\x00-\x1f\x7f]|.{401}")


def address_of(value: Any) -> str:
    """Return an address on the web. Raises ValueError with what was expected of anything else."""
    try:
        parts = urlsplit(value) if isinstance(value, str) else None
    except ValueError:
        parts = None
    if parts is None or parts.scheme not in ("http", "https") or not parts.hostname or _ODD.search(value):
        raise ValueError("expected an address such as https://example.org/winter/")
    return str(value)


def _email(value: Any) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"[^@\s<>]{1,100}@[^@\s<>]{1,100}", value):
        raise ValueError("expected an e-mail address")
    return value


Address = Annotated[str, PlainValidator(address_of), WithJsonSchema({"type": "string", "format": "uri"})]
Email = Annotated[str, PlainValidator(_email), WithJsonSchema({"type": "string", "format": "email"})]
_FILE_SCHEMA = {"type": "string", "minLength": 1, "maxLength": 240}
Files = Annotated[
    list[FileName],
    BeforeValidator(as_list),
    Field(max_length=1000),
    one_or_list(_FILE_SCHEMA, maxItems=1000),
]


class Defaults(Part):
    """How every track of the series is rendered, where the command does not say otherwise."""

    NOUN: ClassVar[str] = "defaults"
    voice: Names = Field(default_factory=list, description="Who speaks; several make as many tracks.")
    format: Names = Field(default_factory=list, description="Endings such as m4a or mp3.", examples=["m4a"])
    pace: Annotated[float, Field(ge=MIN_PACE, le=MAX_PACE, allow_inf_nan=False)] | None = Field(
        None, description="How fast the voice speaks where no variant says it."
    )
    loudness: Annotated[float, Field(ge=-31, le=-12, allow_inf_nan=False)] = Field(
        -16.0, description="Integrated loudness, in LUFS."
    )
    for_music: bool = Field(False, description="Shape a synthetic voice to carry over music.")
    srt: bool = Field(False, description="Captions as SRT too.")


class Feed(Part):
    """What a feed for podcast apps says beside the series itself."""

    NOUN: ClassVar[str] = "feed"
    category: Name = Field("Health & Fitness", description="Where podcast directories file it.")
    copyright: Name | None = Field(None, description="Whose it is.")
    licence: Name | None = Field(None, description="An SPDX identifier, or words of your own.")
    licence_address: Address | None = Field(None, description="Where the licence can be read.")
    email: Email | None = Field(None, description="Published in the feed, for directories that ask for it.")
    explicit: bool = Field(False, description="Whether the words are for adults only.")
    locked: bool = Field(True, description="Whether other services may not take the feed over.")
    season: Annotated[int, Field(ge=1, le=9999)] | None = Field(None, description="Number of this season.")


class Series(Part):
    """One series file."""

    NOUN: ClassVar[str] = "a series"
    title: Name = Field(description="The name of the series.", examples=["Boathouse winter"])
    description: Text | None = Field(None, description="What the series is.")
    author: Name | None = Field(None, description="Who makes it.")
    language: Name = Field("en", description="Language of its pages and its feed.")
    address: Address | None = Field(None, description="A page about the series elsewhere.")
    artwork: FileName | None = Field(None, description="A square picture beside this file, PNG or JPEG.")
    plans: Files = Field(default_factory=list, description="Plan files in order, beside or below this file.")
    defaults: Defaults = Field(default_factory=Defaults, description="How every track is rendered.")
    variants: Annotated[dict[Name, Variant], Field(max_length=40)] = Field(
        default_factory=dict, description="Variants that are made of every plan."
    )
    feed: Feed = Field(default_factory=Feed, description="What a feed says beside this.")


@dataclass(frozen=True)
class LoadedSeries:
    """A series with its file: its plans as paths, its variants ready to be made."""

    series: Series
    path: Path
    plans: tuple[Path, ...] = ()
    artwork: Path | None = None
    variants: tuple[Chosen, ...] = ()


def load_series(path: Path) -> LoadedSeries:
    """Return the series at `path`, checked.

    Raises
    ------
    PlanError : with every problem of the file.
    """
    lines = read_lines(path, str(path))
    tree = parse(lines, Budget())
    series: Series | None = None
    if not isinstance(tree, Mapping):
        message = f"a series is made of keys such as title and plans, but this is {got(tree)}"
        lines.report(tree.mark, message)
    else:
        try:
            series = Series.model_validate(plain(tree))
            place_parts(series, tree, tree.mark)
        except ValidationError as error:
            report_all(lines, error, Series, tree)
    found: dict[str, Path] = {}
    if series is not None:
        mark = Mark(lines.file, 1, 1)
        if pack_code(series.language) is None:
            message = f"language: there are no words for {quoted(series.language)} yet"
            hint = f"there are: {', '.join(available_languages())}"
            lines.report(series.mark_of("language") or mark, message, hint)
        for name, variant in series.variants.items():
            if name == PLAIN:
                message = f"a variant cannot be called {quoted(PLAIN)}, which stands for the plan as it is"
                lines.report(variant.mark or mark, message)
        named = [("plans", name, place) for place, name in enumerate(series.plans)]
        named += [("artwork", series.artwork, 0)] if series.artwork else []
        for key, name, place in named:
            target = file_inside(path.parent, path.parent, name)
            if isinstance(target, tuple):
                lines.report(_place_of(tree, key, place) or mark, f"{key}: {target[0]}", target[1])
            else:
                found[name] = target
    if lines.problems or series is None:
        raise PlanError(sorted(lines.problems, key=lambda problem: problem.mark))
    return LoadedSeries(
        series,
        path,
        tuple(found[name] for name in series.plans),
        found[series.artwork] if series.artwork else None,
        tuple(_variants(tree, series)),
    )


def _place_of(tree: Node, key: str, place: int) -> Mark | None:
    """Return where item number `place` of a key's list stands, or what stands there alone."""
    node = tree.entries.get(key) if isinstance(tree, Mapping) else None
    if isinstance(node, Sequence) and place < len(node.items):
        node = node.items[place]
    return node.mark if node is not None else None


def _variants(tree: Node, series: Series) -> list[Chosen]:
    nodes = tree.entries.get("variants") if isinstance(tree, Mapping) else None
    if not isinstance(nodes, Mapping):
        return []
    return [
        Chosen(name, node, series.variants[name].pace, frozenset(node.key_marks))
        for name, node in nodes.entries.items()
        if isinstance(node, Mapping)
    ]
