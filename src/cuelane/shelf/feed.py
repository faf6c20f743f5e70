"""The feed: RSS 2.0, with the open podcast namespace and the one that podcast directories read.

Sources: the RSS 2.0 specification (RSS Advisory Board), the podcast namespace 1.0 (podcastindex.org), and
what directories ask for (the two last from memory). A guid never changes while the address of the feed and
the name of a session stay; a date is the plan's, else the one at which the session was first published.
"""

from __future__ import annotations

import uuid
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from email.utils import format_datetime
from urllib.parse import quote

from cuelane.base.unsafe_text import on_one_line
from cuelane.plan.series import Series
from cuelane.shelf.sessions import PARTS, SessionSound, ShelfSession, titles_apart

PODCAST = "https://podcastindex.org/namespace/1.0"
ITUNES = "http://www.itunes.com/dtds/podcast-1.0.dtd"
ATOM = "http://www.w3.org/2005/Atom"
FEED_NAMESPACE = uuid.UUID("ead4c236-bf58-58c6-a2c6-a6b28d128cb6")
"""A feed's guid in the podcast namespace is the UUID, version 5, of its address in this name space."""

FEED_NAME = "feed.xml"
_NO_XML = {code: None for code in range(32) if code not in (9, 10, 13)} | {0xFFFE: None, 0xFFFF: None}

for _prefix, _uri in (("podcast", PODCAST), ("itunes", ITUNES), ("atom", ATOM)):
    ET.register_namespace(_prefix, _uri)


@dataclass(frozen=True)
class Place:
    """Where the site will be: ``address`` ends with a slash."""

    address: str

    def of(self, href: str) -> str:
        """Return the address of a file of the site."""
        return self.address + quote(href, safe="/")

    @property
    def guid(self) -> uuid.UUID:
        """The feed's guid: of its address without scheme and closing slashes."""
        name = self.of(FEED_NAME).partition("://")[2].rstrip("/")
        return uuid.uuid5(FEED_NAMESPACE, name)


def feed_xml(
    series: Series,
    sessions: Sequence[ShelfSession],
    place: Place,
    *,
    dates: Mapping[str, datetime],
    changed: datetime,
    artwork: str,
    covers: Mapping[str, str],
) -> str:
    """Return the feed as text.

    Parameters
    ----------
    dates : when each session was published, by its stem; see :func:`dates_of`.
    changed : when the content of the feed last changed.
    artwork, covers : where the pictures of the series and of each session lie in the site.
    """
    rss = ET.Element("rss", version="2.0")
    channel = ET.SubElement(rss, "channel")
    _channel(channel, series, place, artwork)
    _put(channel, "lastBuildDate", format_datetime(changed))
    for number, (session, title) in enumerate(zip(sessions, titles_apart(sessions), strict=True), 1):
        item = ET.SubElement(channel, "item")
        _put(item, "title", on_one_line(title))
        _item(item, series, session, place)
        _put(item, "pubDate", format_datetime(dates[session.stem]))
        _put(item, f"{{{ITUNES}}}episode", str(number))
        _put(item, f"{{{PODCAST}}}episode", str(number))
        ET.SubElement(item, f"{{{ITUNES}}}image", href=place.of(covers[session.stem]))
    ET.indent(rss, " ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(rss, encoding="unicode") + "\n"


def _put(parent: ET.Element, name: str, text: str, **attributes: str) -> ET.Element:
    made = ET.SubElement(parent, name, attributes)
    made.text = text.translate(_NO_XML)
    return made


def _channel(channel: ET.Element, series: Series, place: Place, artwork: str) -> None:
    feed = series.feed
    _put(channel, "title", on_one_line(series.title))
    _put(channel, "link", series.address or place.address)
    _put(channel, "description", on_one_line(series.description or series.title))
    _put(channel, "language", series.language.lower())
    _put(channel, "generator", "cuelane")
    href = place.of(FEED_NAME)
    ET.SubElement(channel, f"{{{ATOM}}}link", href=href, rel="self", type="application/rss+xml")
    if feed.copyright:
        _put(channel, "copyright", on_one_line(feed.copyright))
    _put(channel, f"{{{PODCAST}}}guid", str(place.guid))
    locked = {"owner": feed.email} if feed.email else {}
    _put(channel, f"{{{PODCAST}}}locked", "yes" if feed.locked else "no", **locked)
    if feed.licence:
        where = {"url": feed.licence_address} if feed.licence_address else {}
        _put(channel, f"{{{PODCAST}}}license", on_one_line(feed.licence), **where)
    _put(channel, f"{{{PODCAST}}}medium", "podcast")
    _put(channel, f"{{{ITUNES}}}type", "serial")
    _put(channel, f"{{{ITUNES}}}author", on_one_line(series.author or series.title))
    _put(channel, f"{{{ITUNES}}}explicit", "true" if feed.explicit else "false")
    ET.SubElement(channel, f"{{{ITUNES}}}category", text=on_one_line(feed.category))
    ET.SubElement(channel, f"{{{ITUNES}}}image", href=place.of(artwork))
    if feed.email:
        owner = ET.SubElement(channel, f"{{{ITUNES}}}owner")
        _put(owner, f"{{{ITUNES}}}name", on_one_line(series.author or series.title))
        _put(owner, f"{{{ITUNES}}}email", feed.email)
    image = ET.SubElement(channel, "image")
    _put(image, "url", place.of(artwork))
    _put(image, "title", on_one_line(series.title))
    _put(image, "link", series.address or place.address)


def _item(item: ET.Element, series: Series, session: ShelfSession, place: Place) -> None:
    if ".html" in session.parts:
        _put(item, "link", place.of(page_of(session)))
    # The cautions go wherever the session goes.
    words = [session.description, *session.cautions]
    _put(item, "description", on_one_line(" ".join(word for word in words if word)) or session.stem)
    _put(item, "guid", str(uuid.uuid5(place.guid, session.stem)), isPermaLink="false")
    ET.SubElement(item, "enclosure", _enclosure(session.sound, place))
    seconds = (session.length_ms + 500) // 1000
    _put(item, f"{{{ITUNES}}}duration", str(seconds))
    _put(item, f"{{{ITUNES}}}episodeType", "full")
    _put(item, f"{{{ITUNES}}}explicit", "true" if series.feed.explicit else "false")
    if series.feed.season is not None:
        _put(item, f"{{{ITUNES}}}season", str(series.feed.season))
        _put(item, f"{{{PODCAST}}}season", str(series.feed.season))
    for ending in (".vtt", ".srt"):
        if ending in session.parts:
            about = {"url": place.of(part_of(session, ending)), "type": PARTS[ending], "rel": "captions"}
            ET.SubElement(item, f"{{{PODCAST}}}transcript", {**about, "language": session.schedule.language})
    if ".chapters.json" in session.parts:
        href = place.of(part_of(session, ".chapters.json"))
        ET.SubElement(item, f"{{{PODCAST}}}chapters", url=href, type=PARTS[".chapters.json"])
    for sound in (session.sound, *session.others):
        told = {key: value for key, value in _enclosure(sound, place).items() if key != "url"}
        told |= {"default": "true"} if sound is session.sound else {}
        other = ET.SubElement(item, f"{{{PODCAST}}}alternateEnclosure", told)
        ET.SubElement(other, f"{{{PODCAST}}}source", uri=place.of(sound.href))


def _enclosure(sound: SessionSound, place: Place) -> dict[str, str]:
    return {"url": place.of(sound.href), "length": str(sound.n_bytes), "type": sound.media_type}


def part_of(session: ShelfSession, ending: str) -> str:
    """Return where a part of a session lies in the site: beside its audio."""
    return session.sound.href.rpartition(".")[0] + ending


def page_of(session: ShelfSession) -> str:
    """Return where a session's page lies in the site."""
    return part_of(session, ".html")


def dates_of(
    sessions: Sequence[ShelfSession], before: Mapping[str, str], now: datetime
) -> dict[str, datetime]:
    """Return when each session was published, by its stem.

    The plan's date, or what `before` says, in the form of ISO 8601, from an earlier site; or `now`.
    """
    found = {}
    for session in sessions:
        told = session.schedule.extra.get("date")
        found[session.stem] = _day(told) or moment_of(before.get(session.stem)) or now.replace(microsecond=0)
    return found


def _day(told: object) -> datetime | None:
    try:
        return datetime.combine(date.fromisoformat(str(told)), time(12), UTC) if told else None
    except ValueError:
        return None


def moment_of(told: object) -> datetime | None:
    """Return the moment that a text in the form of ISO 8601 tells, in UTC; None if it tells none."""
    try:
        return datetime.fromisoformat(told).astimezone(UTC) if isinstance(told, str) else None
    except (ValueError, OverflowError):
        return None
