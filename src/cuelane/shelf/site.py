"""The site of a series, written whole or not at all; uploading it is the person's."""

from __future__ import annotations

import hashlib
import io
import json
import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

from PIL import Image

from cuelane.base.errors import UsageError
from cuelane.base.files import Staged, all_or_nothing
from cuelane.base.ordinary import OddFileError, read_ordinary
from cuelane.base.schedule_limits import MAX_BYTES
from cuelane.base.seals import sealable_html, sealable_json
from cuelane.deliver.cover import draw_cover
from cuelane.plan.series import LoadedSeries, Series, address_of
from cuelane.shelf.feed import FEED_NAME, Place, dates_of, feed_xml, moment_of, part_of
from cuelane.shelf.index import index_html
from cuelane.shelf.sessions import ShelfSession, sessions_in

LISTED = "site.json"
"""The list of all files of the site with their digests, by which the next run knows its own."""

_MOST_ARTWORK_BYTES = 64_000_000
"""Chosen: more than the largest picture takes without any packing, 27 MB at 8 bits in 3 channels."""
ARTWORK_SIDES = range(1400, 3001)
"""Pixels; what podcast directories take (from memory)."""


@dataclass(frozen=True)
class Site:
    """What was written: how many sessions, the files by their path in the site, and what was left out."""

    n_sessions: int
    files: tuple[str, ...]
    has_feed: bool
    left_out: tuple[Path, ...] = ()


def write_site(
    folder: Path,
    site: Path,
    series: LoadedSeries | None,
    address: str | None,
    *,
    force: bool = False,
    now: datetime | None = None,
) -> Site:
    """Write the site of the sessions in `folder`. Files of an earlier site that are not of this one go.

    Parameters
    ----------
    series : its title, order and feed; without it the folder's name is the title.
    address : where the site will be; without it there is no feed.
    now : the date of a session that is published for the first time and whose plan has none, and of the feed
        if it differs from the earlier site's.

    Raises
    ------
    UsageError : nothing to show, an odd address or picture, or a file in the way that is not ours.
    """
    order = [path.stem for path in series.plans] if series is not None else []
    sessions = sessions_in(folder, order)
    told = series.series if series is not None else Series(title=folder.resolve().name or "Sessions")
    place = _place(address) if address is not None else None
    artwork = _artwork(series.artwork) if series is not None and series.artwork is not None else None
    before = _told_before(site / LISTED)
    now = (now or datetime.now(UTC)).replace(microsecond=0)
    dates = dates_of(sessions, _texts(before.get("dates")), now)
    feed = _texts(before.get("feed"))
    files: list[str] = []
    site.mkdir(parents=True, exist_ok=True)
    with all_or_nothing(
        site / LISTED, home=site, inputs=_inputs(sessions), listing=site / LISTED, force=force
    ) as staged:
        for session in sessions:
            files += _copy(staged, site, session)
        if place is not None:
            pictures = _pictures(staged, site, sessions, artwork)
            as_of = partial(
                feed_xml, told, sessions, place, dates=dates, artwork=pictures[""], covers=pictures
            )
            text, feed = _dated(as_of, feed, now)
            staged.write_text(site / FEED_NAME, text)
            files += [*dict.fromkeys(pictures.values()), FEED_NAME]
        staged.write_text(site / "index.html", sealable_html(index_html(told, sessions, place)))
        # A file of an earlier site that is not written now is deleted: the site holds this run's files alone.
        staged.write_listing(partial(_listing, dates, feed), lambda name, entries: False)
        for href in files:
            (site / href).parent.mkdir(exist_ok=True)
    left_out = tuple(path for session in sessions for path in session.left_out)
    return Site(len(sessions), ("index.html", *files), place is not None, left_out)


def _place(address: str) -> Place:
    try:
        right = address_of(address)
    except ValueError as error:
        raise UsageError(f"--address: {error}, got {address!r}") from error
    if "?" in right or "#" in right:
        raise UsageError(f"--address: names a folder of the site, so it holds no ? or #; got {address!r}")
    return Place(right.rstrip("/") + "/")


def _inputs(sessions: list[ShelfSession]) -> list[Path]:
    sounds = [sound.path for session in sessions for sound in (session.sound, *session.others)]
    return sounds + [path for session in sessions for path in session.parts.values()]


def _copy(staged: Staged, site: Path, session: ShelfSession) -> list[str]:
    """Stage a session's audio, its other formats and its parts; return where they lie in the site."""
    files = {sound.href: sound.path for sound in (session.sound, *session.others)}
    files |= {part_of(session, ending): path for ending, path in session.parts.items()}
    for href, path in files.items():
        shutil.copyfile(path, staged.path_for(site / href))
    return list(files)


def _pictures(
    staged: Staged, site: Path, sessions: list[ShelfSession], artwork: tuple[str, bytes] | None
) -> dict[str, str]:
    """Stage the covers; return where each session's lies by its stem, and the series' own by ``""``."""
    hrefs = {}
    for session in sessions:
        hrefs[session.stem] = f"covers/{session.stem}.png"
        staged.write_bytes(site / hrefs[session.stem], draw_cover(session.schedule))
    hrefs[""] = hrefs[sessions[0].stem]
    if artwork is not None:
        hrefs[""] = f"artwork{artwork[0]}"
        staged.write_bytes(site / hrefs[""], artwork[1])
    return hrefs


def _artwork(path: Path) -> tuple[str, bytes]:
    try:
        content = read_ordinary(path, _MOST_ARTWORK_BYTES)
        with Image.open(io.BytesIO(content), formats=("PNG", "JPEG")) as image:
            kind, (width, height) = image.format, image.size
            if width in ARTWORK_SIDES and height in ARTWORK_SIDES:
                image.load()
    except (OSError, ValueError, Image.DecompressionBombError) as error:
        why = f" ({error})" if isinstance(error, OddFileError) else ""
        raise UsageError(f"{path}: is no PNG or JPEG picture{why}") from error
    if width != height or width not in ARTWORK_SIDES:
        low, high = ARTWORK_SIDES[0], ARTWORK_SIDES[-1]
        raise UsageError(
            f"{path}: is {width} by {height} pixels; a feed's picture is square, {low} to {high} a side"
        )
    return (".png" if kind == "PNG" else ".jpg"), content


def _dated(as_of: Callable[..., str], before: Mapping[str, str], now: datetime) -> tuple[str, dict[str, str]]:
    """Return the feed, dated when its content last changed, and what the next run needs to tell that.

    Parameters
    ----------
    as_of : returns the feed for ``changed``, the moment at which it last changed.
    before : ``changed`` and ``sha256`` of the earlier site's feed; empty if there was none.
    """
    earlier = moment_of(before.get("changed"))
    if earlier is not None:
        text = as_of(changed=earlier)
        if _sha256(text) == before.get("sha256"):
            return text, dict(before)
    text = as_of(changed=now)
    return text, {"changed": now.isoformat(), "sha256": _sha256(text)}


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _listing(dates: Mapping[str, datetime], feed: Mapping[str, str], files: Mapping[str, Any]) -> str:
    told = {
        "dates": {stem: when.isoformat() for stem, when in dates.items()},
        "feed": dict(feed),
        "files": dict(files),
    }
    return sealable_json(json.dumps(told, indent=1, ensure_ascii=False))


def _told_before(listing: Path) -> dict[str, Any]:
    """Return what the list of an earlier site tells; nothing where there is none."""
    try:
        told = json.loads(read_ordinary(listing, MAX_BYTES))
    except (OSError, ValueError, RecursionError):
        return {}
    return told if isinstance(told, dict) else {}


def _texts(told: object) -> dict[str, str]:
    return (
        {key: value for key, value in told.items() if isinstance(value, str)}
        if isinstance(told, dict)
        else {}
    )
