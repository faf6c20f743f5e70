"""The site of a series: what independent parsers read in its feed, and that its page asks for nothing."""

from __future__ import annotations

import json
import re
import uuid
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from functools import partial
from pathlib import Path

import feedparser
import numpy as np
import pytest
import soundfile
from lxml import etree, html
from PIL import Image

import hostile
from cuelane.base.errors import PlanError, UsageError
from cuelane.base.files import all_or_nothing
from cuelane.base.schedule import Schedule, goes_with_another, listed_schedule
from cuelane.cli.app import run
from cuelane.plan.series import Series, load_series
from cuelane.shelf.feed import FEED_NAMESPACE, ITUNES, PODCAST, moment_of
from cuelane.shelf.index import index_html
from cuelane.shelf.sessions import SessionSound, ShelfSession, sessions_in
from cuelane.shelf.site import write_site
from pagesession import RATE, Sketch

PLACE = "https://example.org/winter/"
NOW = datetime(2026, 11, 3, 8, 30, tzinfo=UTC)
SERIES = """\
title: Slipway winter
author: Ada Quay
description: Two sessions by the water.
plans: [second.yaml, first.yaml]
feed: {season: 2, email: ada@example.org, licence: CC-BY-4.0, copyright: Ada Quay 2026}
"""


def track(
    folder: Path,
    stem: str,
    *,
    title: str = "",
    seconds: float = 3.0,
    ending: str = ".wav",
    language: str = "en",
    **extra: object,
) -> None:
    """Write a track as a render does: audio, captions, chapters, page, and a schedule that lists them."""
    folder.mkdir(exist_ok=True)
    sketch = Sketch(title or stem.title())
    sketch.interval("work", seconds, block="Main", exercise="squat", number=1, pips=False)
    schedule = Schedule(
        sketch.title, language, RATE, sketch.now, tuple(sketch.intervals), (), extra=dict(extra)
    )
    out = folder / f"{stem}{ending}"
    listing = folder / f"{stem}.schedule.json"
    with all_or_nothing(out, listing=listing, force=True) as staged:
        soundfile.write(staged.path_for(out), np.zeros(sketch.now, np.float32), RATE)
        for ending, text in ((".vtt", "WEBVTT\n"), (".chapters.json", "{}"), (".html", "<p>x</p>")):
            staged.write_text(folder / (stem + ending), text)
        staged.write_listing(
            partial(listed_schedule, schedule, out.name), partial(goes_with_another, out.name)
        )


def facts(needs: list[str], regions: list[str]) -> dict[str, object]:
    rows = [{"item": item, "first_ms": 0, "exercises": ["squat"]} for item in needs]
    return {"equipment": rows, "regions": regions}


@pytest.fixture
def tracks(tmp_path: Path) -> Path:
    """Two sessions, the first in another format too, and a series that turns their order round."""
    folder = tmp_path / "tracks"
    cautions = ["Stop if it hurts."]
    track(folder, "first", cautions=cautions, date="2026-05-31", facts=facts(["a chair"], ["legs"]))
    track(folder, "second", seconds=5.0, cautions=cautions, description="Longer.", facts=facts([], ["back"]))
    (folder / "flac").mkdir()
    track(folder / "flac", "first")
    for name in ("first", "second"):
        (tmp_path / f"{name}.yaml").write_text("title: x\n", encoding="utf-8")
    (tmp_path / "series.yaml").write_text(SERIES, encoding="utf-8")
    return folder


def feed_of(tracks: Path, site: Path, now: datetime = NOW) -> bytes:
    write_site(tracks, site, load_series(tracks.parent / "series.yaml"), PLACE, now=now)
    return (site / "feed.xml").read_bytes()


def test_feedparser_reads_the_feed_without_complaint(tracks: Path, tmp_path: Path) -> None:
    """Titles in the series' order, dates, enclosures with their true length and type (feedparser 6)."""
    read = feedparser.parse(feed_of(tracks, tmp_path / "site"))
    assert not read.bozo
    assert read.version == "rss20"
    assert (read.feed.title, read.feed.author, read.feed.language) == ("Slipway winter", "Ada Quay", "en")
    assert [entry.title for entry in read.entries] == ["Second", "First"]
    for entry, stem in zip(read.entries, ("second", "first"), strict=True):
        enclosure = entry.enclosures[0]
        assert enclosure.href == f"{PLACE}{stem}.wav"
        assert int(enclosure.length) == (tmp_path / "site" / f"{stem}.wav").stat().st_size
        assert enclosure.type == "audio/wav"
        assert "Stop if it hurts." in entry.summary
        assert not entry.guidislink
    assert read.entries[0].published_parsed[:5] == (2026, 11, 3, 8, 30)
    assert read.entries[1].published_parsed[:3] == (2026, 5, 31)
    assert [entry.itunes_duration for entry in read.entries] == ["5", "3"]


def test_the_feed_keeps_the_rules_of_rss_2(tracks: Path, tmp_path: Path) -> None:
    """What the specification of the RSS Advisory Board asks for, read by lxml: needed elements, each once."""
    root = etree.fromstring(feed_of(tracks, tmp_path / "site"))
    assert (root.tag, root.get("version"), len(root)) == ("rss", "2.0", 1)
    channel = root[0]
    for name in ("title", "link", "description", "language", "lastBuildDate", "image"):
        assert len(channel.findall(name)) == 1, name
    assert channel.findtext("image/title") == channel.findtext("title")
    assert channel.findtext("image/link") == channel.findtext("link")
    plain = {
        "title",
        "link",
        "description",
        "language",
        "generator",
        "copyright",
        "lastBuildDate",
        "image",
        "item",
    }
    assert {one.tag for one in channel if not one.tag.startswith("{")} <= plain
    for item in channel.iter("item"):
        assert {one.tag for one in item if not one.tag.startswith("{")} == {
            "title", "link", "description", "guid", "enclosure", "pubDate"
        }  # fmt: skip
        assert set(item.find("enclosure").keys()) == {"url", "length", "type"}
        assert parsedate_to_datetime(item.findtext("pubDate")).tzinfo is not None
        assert item.find("guid").get("isPermaLink") == "false"
    guids = [item.findtext("guid") for item in channel.iter("item")]
    assert len(set(guids)) == len(guids) == 2
    newest = max(parsedate_to_datetime(item.findtext("pubDate")) for item in channel.iter("item"))
    assert parsedate_to_datetime(channel.findtext("lastBuildDate")) == newest


def test_the_feed_uses_the_podcast_namespace_as_it_is_described(tracks: Path, tmp_path: Path) -> None:
    """Attributes that the namespace's description (podcastindex.org, from memory) asks for are there."""
    channel = etree.fromstring(feed_of(tracks, tmp_path / "site"))[0]
    names = {"p": PODCAST, "i": ITUNES}

    def at(path: str) -> list[etree._Element]:
        return channel.findall(path, names)

    assert at("p:locked")[0].get("owner") == "ada@example.org"
    assert at("p:locked")[0].text == "yes"
    assert at("p:license")[0].text == "CC-BY-4.0"
    assert [one.text for one in at("item/p:season")] == ["2", "2"]
    assert [one.text for one in at("item/p:episode")] == ["1", "2"]
    assert [one.get("type") for one in at("item/p:transcript")] == ["text/vtt", "text/vtt"]
    assert [one.get("type") for one in at("item/p:chapters")] == ["application/json+chapters"] * 2
    others = at("item[2]/p:alternateEnclosure")
    assert [one.find("p:source", names).get("uri") for one in others] == [
        f"{PLACE}first.wav",
        f"{PLACE}flac/first.wav",
    ]
    assert [one.get("default") for one in others] == ["true", None]
    for one in channel.iter():
        for address in filter(None, (one.get("url"), one.get("href"), one.get("uri"))):
            path = tmp_path / "site" / address.removeprefix(PLACE)
            assert path.is_file(), address


def test_a_feeds_guid_is_the_published_one_of_its_address() -> None:
    """The example of the namespace's own description (value from memory; it comes out to the letter)."""
    guid = uuid.uuid5(FEED_NAMESPACE, "mp3s.nashownotes.com/pc20rss.xml")
    assert str(guid) == "917393e3-1b1e-5cef-ace4-edaa54e1f810"


def test_guids_and_dates_stay_when_the_site_is_written_again(tracks: Path, tmp_path: Path) -> None:
    """A later day, a new session in between: what was published keeps its date and its guid."""
    before = etree.fromstring(feed_of(tracks, tmp_path / "site"))
    track(tracks, "third")
    later = datetime(2026, 12, 24, tzinfo=UTC)
    after = etree.fromstring(feed_of(tracks, tmp_path / "site", later))
    kept = [
        [(one.findtext("guid"), one.findtext("pubDate")) for one in tree.iter("item")]
        for tree in (before, after)
    ]
    assert kept[1][:2] == kept[0]
    assert kept[1][2][1] == "Thu, 24 Dec 2026 00:00:00 +0000"
    (tracks / "third.wav").unlink()
    # A site without a feed in between forgets no date.
    write_site(tracks, tmp_path / "site", load_series(tracks.parent / "series.yaml"), None, now=later)
    assert kept[0] == [
        (one.findtext("guid"), one.findtext("pubDate"))
        for one in etree.fromstring(feed_of(tracks, tmp_path / "site", later)).iter("item")
    ]
    assert not (tmp_path / "site" / "third.wav").exists()


def test_the_feed_says_when_its_content_last_changed(tracks: Path, tmp_path: Path) -> None:
    """Written again without a change, byte for byte the same; a changed title gives it the new date.

    RSS 2.0 (RSS Advisory Board): lastBuildDate is the last time the content of the channel changed.
    """
    site = tmp_path / "site"
    first = feed_of(tracks, site)
    assert etree.fromstring(first).findtext("channel/lastBuildDate") == "Tue, 03 Nov 2026 08:30:00 +0000"
    later = datetime(2026, 12, 24, 9, 0, 1, 250_000, tzinfo=UTC)
    assert feed_of(tracks, site, later) == first
    # A site without a feed in between changes nothing either.
    write_site(tracks, site, load_series(tracks.parent / "series.yaml"), None, now=later)
    assert feed_of(tracks, site, later) == first
    path = tmp_path / "series.yaml"
    path.write_text(SERIES.replace("Two sessions", "Two good sessions"), encoding="utf-8")
    changed = feed_of(tracks, site, later)
    assert etree.fromstring(changed).findtext("channel/lastBuildDate") == "Thu, 24 Dec 2026 09:00:01 +0000"
    assert feed_of(tracks, site, datetime(2027, 1, 1, tzinfo=UTC)) == changed
    # A list that was damaged dates it anew.
    told = json.loads((site / "site.json").read_text(encoding="utf-8"))
    told["feed"] = {"changed": "soon", "sha256": 3}
    (site / "site.json").write_text(json.dumps(told), encoding="utf-8")
    write_site(tracks, site, load_series(path), PLACE, now=datetime(2027, 1, 1, tzinfo=UTC), force=True)
    again = etree.fromstring((site / "feed.xml").read_bytes())
    assert again.findtext("channel/lastBuildDate") == "Fri, 01 Jan 2027 00:00:00 +0000"


def test_several_formats_in_one_folder_are_one_session(tracks: Path, tmp_path: Path) -> None:
    """The last that was rendered is the enclosure, the others are alternates; one of an older plan is not."""
    for ending in (".flac", ".mp3"):
        track(tracks, "second", seconds=5.0, ending=ending)
    item = etree.fromstring(feed_of(tracks, tmp_path / "site")).find("channel/item")
    assert item is not None
    enclosure = item.find("enclosure")
    assert enclosure is not None
    assert enclosure.get("url") == f"{PLACE}second.mp3"
    alternates = {
        source.get("uri") for source in item.iterfind(f"{{{PODCAST}}}alternateEnclosure/{{{PODCAST}}}source")
    }
    assert alternates == {f"{PLACE}second.{ending}" for ending in ("wav", "flac", "mp3")}
    assert (tmp_path / "site" / "second.flac").read_bytes() == (tracks / "second.flac").read_bytes()

    track(tracks, "second", seconds=4.0, ending=".mp3")
    (second, _) = sessions_in(tracks, ["second", "first"])
    assert (second.sound.href, second.others) == ("second.mp3", ())
    track(tracks, "second", seconds=4.0, ending=".flac")
    with (tracks / "second.mp3").open("ab") as file:
        file.write(b"more")
    with pytest.raises(UsageError, match=r"second\.mp3: is not as its schedule lists it"):
        sessions_in(tracks)


def test_the_index_opens_from_disk_and_asks_for_nothing(tracks: Path, tmp_path: Path) -> None:
    """Every link leads to a file of the site or to the feed; no part of the page comes from elsewhere."""
    site = tmp_path / "site"
    write_site(tracks, site, load_series(tmp_path / "series.yaml"), PLACE, now=NOW)
    page = html.fromstring((site / "index.html").read_bytes())
    links = [link.get("href") for link in page.iter("a")]
    assert f"{PLACE}feed.xml" in links
    for link in links:
        assert link == f"{PLACE}feed.xml" or (site / link).is_file(), link
    assert [one.tag for one in page.iter("script", "link", "img", "iframe") if one.get("src")] == []
    titles = [title.text_content().strip() for title in page.iter("h2")][:2]
    assert titles == ["Second", "First"]
    assert page.get("lang") == "en"
    rows = page.xpath("//li[@data-ms]")
    assert [(row.get("data-needs"), row.get("data-works")) for row in rows] == [
        ("", "back"),
        ("a chair", "legs"),
    ]
    assert {one.get("value") for one in page.xpath("//select[@name='needs']/option")} == {"", "0", "a chair"}
    assert "Stop if it hurts." in page.text_content()


def test_cautions_are_told_once_in_the_language_they_are_said_in(tmp_path: Path) -> None:
    """Not all in the language of the series: a reader that speaks the page would say them wrongly."""
    folder = tmp_path / "tracks"
    track(folder, "one", cautions=["Stop if it hurts.", "Sit down."])
    track(folder, "two", cautions=["Arrêtez en cas de douleur."], language="fr")
    track(folder, "three", cautions=["Sit down."])
    write_site(folder, tmp_path / "site", None, None, now=NOW)
    page = html.fromstring((tmp_path / "site" / "index.html").read_bytes())
    groups = page.xpath("//div[@class='cautions']")
    assert [(one.get("lang"), [line.text for line in one.iter("p")]) for one in groups] == [
        ("en", ["Stop if it hurts.", "Sit down."]),
        ("fr", ["Arrêtez en cas de douleur."]),
    ]


def test_without_an_address_there_is_no_feed(tracks: Path, tmp_path: Path) -> None:
    """And the page does not speak of one."""
    done = write_site(tracks, tmp_path / "site", None, None)
    assert not done.has_feed
    assert not (tmp_path / "site" / "feed.xml").exists()
    assert "podcast" not in (tmp_path / "site" / "index.html").read_text(encoding="utf-8").lower()


# A lone surrogate cannot stand in a file of UTF-8 text, so no schedule holds one.
TEXTS = {name: text for name, text in hostile.HOSTILE.items() if name != "lone surrogate"}


@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS)
def test_a_strangers_text_does_no_harm(text: str, tmp_path: Path) -> None:
    """Title, description and equipment come from plans: they stay text in the page and in the feed."""
    folder = tmp_path / "tracks"
    # A schedule with control characters in its title is refused as a whole; elsewhere they may stand.
    title = "One" if re.search(r"[\x00-\x1f\x7f-\x9f]", text) else text
    track(folder, "one", title=title, description=text, facts=facts([text], [text]), cautions=[text])
    write_site(folder, tmp_path / "site", None, PLACE, now=NOW)
    read = feedparser.parse((tmp_path / "site" / "feed.xml").read_bytes())
    assert not read.bozo
    assert len(read.entries) == 1
    page = html.fromstring((tmp_path / "site" / "index.html").read_bytes())
    assert len(page.findall(".//script")) == 1
    assert not [one for one in page.iter() if any(str(name).startswith("on") for name in one.attrib)]


def test_a_track_that_was_changed_does_not_go_online(tracks: Path, tmp_path: Path) -> None:
    """Nor a folder without tracks, an odd address, or a picture that no directory takes."""
    with pytest.raises(UsageError, match="there is no such folder"):
        write_site(tmp_path / "no", tmp_path / "site", None, None)
    (tmp_path / "empty").mkdir()
    with pytest.raises(UsageError, match="holds no track"):
        write_site(tmp_path / "empty", tmp_path / "site", None, None)
    for address in ("ftp://x", "example.org", "https://a b", "https://", "https://a\tb", "https://x/?y"):
        with pytest.raises(UsageError, match=r"--address: (expected an address such as|names a folder)"):
            write_site(tracks, tmp_path / "site", None, address)
    Image.new("RGB", (300, 200)).save(tmp_path / "art.png")
    (tmp_path / "art.yaml").write_text("title: x\nartwork: art.png\n", encoding="utf-8")
    with pytest.raises(UsageError, match="is 300 by 200 pixels; a feed's picture is square"):
        write_site(tracks, tmp_path / "site", load_series(tmp_path / "art.yaml"), PLACE)
    with (tmp_path / "art.png").open("r+b") as file:
        # Whatever a file begins with, one so large is not read into memory.
        file.truncate(64_000_001)
    with pytest.raises(UsageError, match=r"is no PNG or JPEG picture \(is larger than 64 MB"):
        write_site(tracks, tmp_path / "site", load_series(tmp_path / "art.yaml"), PLACE)
    (tmp_path / "none.yaml").write_text("title: x\nartwork: no.png\n", encoding="utf-8")
    with pytest.raises(PlanError, match=re.escape("artwork: there is no file 'no.png'")):
        load_series(tmp_path / "none.yaml")
    (tracks / "first.wav").write_bytes((tracks / "first.wav").read_bytes() + b"\0")
    with pytest.raises(UsageError, match=r"first\.wav: is not as its schedule lists it"):
        sessions_in(tracks)
    assert not (tmp_path / "site").exists()


def test_the_artwork_of_the_series_is_its_picture(tracks: Path, tmp_path: Path) -> None:
    """Instead of the first session's cover."""
    Image.new("RGB", (1400, 1400)).save(tmp_path / "art.jpg")
    (tmp_path / "series.yaml").write_text(f"{SERIES}artwork: art.jpg\n", encoding="utf-8")
    channel = etree.fromstring(feed_of(tracks, tmp_path / "site"))[0]
    assert channel.findtext("image/url") == f"{PLACE}artwork.jpg"
    assert (tmp_path / "site/artwork.jpg").read_bytes() == (tmp_path / "art.jpg").read_bytes()
    (tmp_path / "art.jpg").write_bytes((tmp_path / "art.jpg").read_bytes()[:2_000])
    with pytest.raises(UsageError, match=r"art\.jpg: is no PNG or JPEG picture"):
        feed_of(tracks, tmp_path / "site")


def test_what_was_not_written_with_the_track_stays_at_home(tracks: Path, tmp_path: Path) -> None:
    """Somebody's notes under a name that a render may use, and a page that was changed by hand."""
    (tracks / "first.md").write_text("private", encoding="utf-8")
    (tracks / "second.html").write_text("changed", encoding="utf-8")
    done = write_site(tracks, tmp_path / "site", load_series(tmp_path / "series.yaml"), PLACE, now=NOW)
    assert {path.name for path in done.left_out} == {"first.md", "second.html"}
    assert not (tmp_path / "site" / "first.md").exists()
    assert not (tmp_path / "site" / "second.html").exists()
    assert (tmp_path / "site" / "first.schedule.json").is_file()


def test_a_session_called_index_is_refused(tmp_path: Path) -> None:
    """Its page would be the site's own."""
    track(tmp_path / "tracks", "Index")
    with pytest.raises(UsageError, match="its page would be the site's own first page"):
        write_site(tmp_path / "tracks", tmp_path / "site", None, PLACE)


def test_a_longer_name_is_not_taken_for_a_variant_of_a_shorter(tmp_path: Path) -> None:
    """`legs-long` is a plan of its own here, and comes where the series has it."""
    for stem in ("legs", "legs-short", "legs-long", "warm"):
        track(tmp_path / "tracks", stem)
    found = sessions_in(tmp_path / "tracks", ["legs", "warm", "legs-long"])
    assert [one.stem for one in found] == ["legs", "legs-short", "warm", "legs-long"]


def test_the_command_keeps_what_is_somebodys_own(
    tracks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A page of theirs in the folder is refused, and named; a site of ours is written again."""
    site = tmp_path / "site"
    for _ in range(2):
        assert run(["shelf", str(tracks), "--out", str(site), "--address", PLACE, "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["sessions"] == 2
    (site / "index.html").write_text("mine", encoding="utf-8")
    with pytest.raises(UsageError, match=r"index\.html: there is a file already.*--force"):
        run(["shelf", str(tracks), "--out", str(site), "--address", PLACE])
    assert (site / "index.html").read_text(encoding="utf-8") == "mine"


def test_a_date_beyond_the_calendar_tells_no_moment() -> None:
    """In a list that somebody changed by hand: its UTC would be in the year 10000."""
    assert moment_of("9999-12-31T23:59:59-10:00") is None
    assert moment_of("2026-03-01T10:00:00+02:00") == datetime(2026, 3, 1, 8, tzinfo=UTC)


def test_another_session_in_a_formats_folder_is_left_out(tracks: Path, tmp_path: Path) -> None:
    """Of a name's files in the folders of formats only those that hold the same session are offered as it."""
    assert [sound.href for sound in sessions_in(tracks)[0].others] == ["flac/first.wav"]
    track(tracks / "flac", "first", seconds=4.0)
    (first, _) = sessions_in(tracks)
    assert (first.sound.href, first.others) == ("first.wav", ())
    assert first.left_out == (tracks / "flac" / "first.wav",)
    done = write_site(tracks, tmp_path / "site", None, PLACE, now=NOW)
    assert not (tmp_path / "site" / "flac").exists()
    assert tracks / "flac" / "first.wav" in done.left_out


def test_rows_of_one_title_are_told_apart_by_file(tmp_path: Path) -> None:
    """In the heading and in what a link to a file is called; a title that is there once stays as it is."""
    folder = tmp_path / "tracks"
    for stem, title in (("legs", "Legs"), ("legs-short", "Legs"), ("low", "legs"), ("back", "Back")):
        track(folder, stem, title=title)
    write_site(folder, tmp_path / "site", None, None)
    page = html.parse(tmp_path / "site" / "index.html")
    names = {"Back", "Legs (legs)", "Legs (legs-short)", "legs (low)"}
    assert {one.text_content() for one in page.xpath("//li/h2")} == names
    links = [one.text_content() for one in page.xpath("//li//a[@download]")]
    assert sorted(link.split(" (wav")[0] for link in links) == sorted(f"Download {name}" for name in names)


def test_entries_of_one_title_are_told_apart_by_their_variant(tracks: Path, tmp_path: Path) -> None:
    """In the feed as on the page: a plan as it is keeps its title, and a variant has its name behind it."""
    for stem, more in (
        ("legs", {}),
        ("legs-short", {"variant": "short"}),
        ("legs-slow", {"variant": "slow"}),
    ):
        track(tracks, stem, title="Legs", **more)
    for stem in ("arms", "arms-two"):
        track(tracks, stem, title="Arms", variant="short")
    read = feedparser.parse(feed_of(tracks, tmp_path / "site"))
    told = {"Second", "First", "Legs", "Legs (short)", "Legs (slow)", "Arms (arms)", "Arms (arms-two)"}
    assert {entry.title for entry in read.entries} == told
    page = html.parse(tmp_path / "site" / "index.html")
    assert {one.text_content() for one in page.xpath("//li/h2")} == told


def test_only_lengths_that_leave_something_out_are_offered(tmp_path: Path) -> None:
    """Sessions of 12, 16 and 31 minutes: up to 15, 20 and 30 tell them apart, up to 10 and 45 do not."""
    sound = SessionSound(tmp_path / "a.wav", "a.wav")
    sound.path.write_bytes(b"sound")
    sessions = [
        ShelfSession(str(minutes), Schedule("S", "en", RATE, minutes * 60 * RATE, (), ()), sound)
        for minutes in (12, 16, 31)
    ]
    page = index_html(Series(title="S"), sessions, None)
    (lengths,) = html.fromstring(page).xpath("//select[@name='length']")
    assert lengths.xpath("option/@value") == ["", "15", "20", "30"]


def test_sizes_are_written_as_the_series_language_writes_numbers(tmp_path: Path) -> None:
    """With a comma in German; kB below a tenth of a MB."""
    sounds = []
    for name, n_bytes in (("a.wav", 1_540_000), ("b.wav", 99_000)):
        sounds.append(SessionSound(tmp_path / name, name))
        sounds[-1].path.write_bytes(bytes(n_bytes))
    schedule = Schedule("S", "de", RATE, 60 * RATE, (), ())
    sessions = [ShelfSession("s", schedule, sounds[0], (sounds[1],))]
    for language, sizes in (("de", ("1,5 MB", "99 kB")), ("en", ("1.5 MB", "99 kB"))):
        page = index_html(Series(title="S", language=language), sessions, None)
        assert all(size in page for size in sizes)
