"""One table of hostile texts through every place where a stranger's text comes out, read by other readers."""

from __future__ import annotations

import csv
import io
import json
import re
import unicodedata
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import mutagen
import mutagen.id3
import numpy as np
import pytest
import webvtt
from markdown_it import MarkdownIt
from markupsafe import Markup

import pagesession
from cuelane import media
from cuelane.base.schedule import Schedule
from cuelane.base.unsafe_text import escape_markdown, on_one_line
from cuelane.check.fault_words import name_of
from cuelane.check.locate import Expected
from cuelane.cli.output import json_text, safe_for_terminal
from cuelane.deliver.captions import to_srt, to_vtt
from cuelane.deliver.chapters import to_json_chapters
from cuelane.deliver.describe import describe
from cuelane.deliver.marks import cue_marks, to_csv
from cuelane.deliver.page import PageExtras, write_page
from cuelane.media import Chapter, Metadata
from cuelane.takes.reading_script import ReadingLine, as_html, as_text
from cuelane.web.page_parts import document, script_json
from hostile import HOSTILE

TEXTS = list(HOSTILE.values())
TURNING = ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")
"""The explicit directional embeddings, overrides and isolates of Unicode UAX 9."""
HONEST = ("Hebrew", "Arabic", "emoji", "accents")


def obeyed(sign: str) -> bool:
    """Tell, by Unicode's own classes, whether a sign is not to be seen but to be obeyed."""
    hidden = unicodedata.category(sign) in ("Cc", "Cs", "Cn", "Zl", "Zp")
    return hidden or unicodedata.bidirectional(sign) in TURNING or sign == "\N{ZERO WIDTH NO-BREAK SPACE}"


def seen(text: str) -> str:
    """Return what may be seen of `text`, on one line."""
    return " ".join("".join(" " if obeyed(sign) else sign for sign in text).split())


def commands(text: str, allowed: str = "\n") -> list[str]:
    """Return the signs in `text` that a terminal or a reader would obey."""
    return [sign for sign in text if obeyed(sign) and sign not in allowed]


class Elements(HTMLParser):
    """The elements, with their attributes, and the text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.fixture(scope="module")
def session() -> Schedule:
    """A session whose every text is one of the table."""
    sketch = pagesession.Sketch(TEXTS[0])
    for text in TEXTS:
        cues = ((1, 2, text, text),)
        sketch.interval("work", 12, block=text, exercise=text, side=text, number=1, cues=cues)
    return sketch.done(cautions=TEXTS, voice={"name": TEXTS[1], "credit": TEXTS[0]}, author=TEXTS[1])


def test_a_line_does_not_break_before_a_french_colon() -> None:
    """No-break spaces inside a text stay; those at its ends go, and so do lines and runs of spaces."""
    assert (
        on_one_line("À noter\u00a0: « non\u00a0»,\n  puis\u202f; fin\u00a0")
        == "À noter\u00a0: « non\u00a0», puis\u202f; fin"
    )


@pytest.mark.parametrize("name", HONEST)
def test_honest_text_is_never_changed(name: str) -> None:
    """Words in other scripts, and the joiners of emoji, come through every function as they were."""
    text = HOSTILE[name]
    assert on_one_line(text) == text
    assert safe_for_terminal(text) == text
    assert media.metadata.clean(text) == text
    assert escape_markdown(text) == text


@pytest.mark.parametrize("text", TEXTS, ids=list(HOSTILE))
def test_a_terminal_is_commanded_by_nothing(text: str) -> None:
    """No control or direction sign reaches it, and what is shown tells which sign there was."""
    shown = safe_for_terminal(text)
    assert commands(shown, "\n\t") == []
    assert "\x1b" not in shown
    if commands(text, "\n\t"):
        assert re.search(r"\\x[0-9a-f]{2}|\\u[0-9a-f]{4}", shown)


@pytest.mark.parametrize("text", TEXTS, ids=list(HOSTILE))
def test_json_is_the_same_value_and_commands_nothing(text: str) -> None:
    """Python's reader gives back the very text, yet its raw form may be shown on a terminal."""
    written = json_text({text: [text]})
    assert json.loads(written) == {text: [text]}
    assert commands(written) == []
    written.encode("utf-8")


def test_a_spreadsheet_sees_no_formula(session: Schedule) -> None:
    """The csv module finds every row and cell whole; none begins as a formula does (OWASP, CSV Injection)."""
    rows = list(csv.reader(io.StringIO(to_csv(session), newline=""), strict=True))
    header, cues = rows[0], [row for row in rows[1:] if row[1] == "cue"]
    assert {len(row) for row in rows} == {len(header)}
    assert len(rows) == len(session.events) + 1
    for row in rows[1:]:
        for cell in row:
            wide = unicodedata.normalize("NFKC", cell.strip())
            number = re.fullmatch(r"-?\d+(\.\d+)?", wide)
            assert number or not wide.startswith(("=", "+", "-", "@", "\t", "\r")), cell
    for row, text in zip(cues, TEXTS, strict=True):
        assert row[header.index("text")].removeprefix("'").strip("'") == seen(text).strip("'")


def test_captions_hold_each_text_and_nothing_else(session: Schedule) -> None:
    """webvtt-py finds as many captions as there are words for, in time's order, with no tag that works."""
    vtt, srt = to_vtt(session), to_srt(session)
    n_expected = vtt.count(" --> ")
    for read in (webvtt.from_buffer(io.StringIO(vtt), "vtt"), webvtt.from_buffer(io.StringIO(srt), "srt")):
        assert len(read.captions) == n_expected
        assert not read.styles
        times = [(row.start_in_seconds, row.end_in_seconds) for row in read.captions]
        assert times == sorted(times)
        assert max(end for _, end in times) <= session.n_frames / session.sample_rate
    for payload in re.split(r"\n\n", vtt)[1:]:
        assert "<" not in payload.partition("-->")[2]
    spoken = " ".join(row.raw_text for row in webvtt.from_buffer(io.StringIO(vtt), "vtt").captions)
    shown = Markup(spoken.replace("\n", " ")).unescape()
    assert shown.split() == " ".join(seen(text) for text in TEXTS).split()
    assert not re.search(r"<[a-zA-Z/]|\{\\", srt)
    assert commands(vtt + srt) == []


def test_a_page_has_the_elements_of_an_honest_one(session: Schedule) -> None:
    """html.parser finds no element, attribute or script that text of the session made."""
    chapters = [Chapter(n * 1000, n * 1000 + 1000, text) for n, text in enumerate(TEXTS)]
    page = write_page(session, audio_name=TEXTS[0], extras=PageExtras(chapters=chapters, vtt=TEXTS[0]))
    found = Elements(page)
    assert sum(tag == "script" for tag, _ in found.elements) == 2
    assert not {tag for tag, _ in found.elements} & {"img", "iframe", "object", "embed"}
    assert not [name for _, attrs in found.elements for name in attrs if name.startswith("on")]
    assert commands(page) == []
    addresses = [attrs.get(key) or "" for _, attrs in found.elements for key in ("href", "src")]
    assert not [address for address in addresses if "evil" in address]
    honest = {"html", "head", "meta", "title", "link", "style", "body", "p"}
    for text in TEXTS:
        alone = Elements(document(title=text, body=Markup("<p>x</p>"), css="", description=text))
        assert {tag for tag, _ in alone.elements} == honest
        assert seen(text) in alone.text


@pytest.mark.parametrize("text", TEXTS, ids=list(HOSTILE))
def test_a_script_holds_the_same_value_and_does_not_end(text: str) -> None:
    """JSON within a script is the same value, and html.parser sees one script."""
    found = Elements(f"<script>{script_json(text)}</script>")
    assert [tag for tag, _ in found.elements] == ["script"]
    assert json.loads(found.text) == text


@pytest.mark.parametrize("text", TEXTS, ids=list(HOSTILE))
def test_the_reading_script_shows_each_line_as_it_is(text: str) -> None:
    """On the page and in the text, a line is one line, and makes nothing."""
    line = ReadingLine(1, text, ("say",), 1, 9.0, 2.0)
    page = Elements(as_html(text, [line], language="en"))
    honest = Elements(as_html("title", [ReadingLine(1, "words", ("say",), 1, 9.0, 2.0)], language="en"))
    assert page.elements == honest.elements
    assert seen(text) in page.text
    assert commands(as_html(text, [line])) == []
    plain = as_text(text, [line])
    assert commands(plain) == []
    assert plain.count("\n") == as_text("title", [ReadingLine(1, "words", ("say",), 1, 9.0, 2.0)]).count("\n")


def test_markdown_has_no_link_and_no_html(session: Schedule) -> None:
    """markdown-it, with tables and strikethrough on, finds paragraphs, lists and headings only."""
    reader = MarkdownIt("commonmark").enable(["table", "strikethrough"])
    tokens = reader.parse(describe(session))
    kinds = {token.type for token in tokens if token.nesting == 1}
    assert kinds == {"heading_open", "paragraph_open", "bullet_list_open", "list_item_open"}
    inline = {child.type for token in tokens for child in token.children or []}
    assert inline <= {"text", "text_special", "softbreak", "hardbreak"}
    for text in TEXTS:
        shown = Elements(reader.render(escape_markdown(text)))
        assert {tag for tag, _ in shown.elements} <= {"p"}, text
        assert " ".join(shown.text.split()) == seen(text)


def test_chapters_and_cue_marks_hold_each_text_on_one_line(session: Schedule) -> None:
    """The JSON chapters are one for each text; a mark's label has no sign that commands."""
    chapters = [Chapter(n * 1000, n * 1000 + 1000, text) for n, text in enumerate(TEXTS)]
    read = json.loads(to_json_chapters(chapters, TEXTS[0]))
    assert [row["title"] for row in read["chapters"]] == [seen(text) for text in TEXTS]
    labels = [mark.label for mark in cue_marks(session)]
    assert commands("".join(labels), "") == []


def test_a_fault_cannot_forge_a_line(session: Schedule) -> None:
    """A check names each cue on one line."""
    for event in session.cues:
        row = Expected.__new__(Expected)
        object.__setattr__(row, "event", event)
        object.__setattr__(row, "kind", None)
        assert "\n" not in name_of(row)
        assert commands(name_of(row), "") == []


@pytest.mark.parametrize("suffix", [".m4a", ".mp3", ".flac", ".opus"])
def test_tags_and_chapters_are_no_more_than_was_given(suffix: str, tmp_path: Path) -> None:
    """mutagen finds the tags given, and as many chapters; no text adds a tag, a chapter or a control."""
    path = tmp_path / f"x{suffix}"
    everything = "\n".join(TEXTS)
    chapters = [Chapter(n * 1000, n * 1000 + 1000, text) for n, text in enumerate(TEXTS)]
    metadata = Metadata({"title": everything, "artist": "A singer", "comment": TEXTS[0]}, chapters)
    silence = [np.zeros((48_000 * len(TEXTS), 1), np.float32)]
    media.encode(path, silence, sample_rate=48_000, metadata=metadata)
    probed = media.probe(path)
    assert [row.start_ms for row in probed.chapters] == [row.start_ms for row in chapters]
    titles = [row.title for row in probed.chapters]
    assert commands("".join(titles)) == []
    for title, text in zip(titles, TEXTS, strict=True):
        assert seen(text).startswith(" ".join(title.split()))
    strings = list(_strings(mutagen.File(path)))
    assert strings.count("A singer") == 1
    assert "forged" not in strings
    assert commands("".join(strings)) == []
    assert any(" ".join(text.split()).startswith(seen(everything)[:200]) for text in strings)


def _strings(file: mutagen.FileType) -> Iterator[str]:
    """Yield each text in a file's tags, as mutagen reads them."""
    assert file.tags is not None
    for value in file.tags.values():
        if isinstance(value, mutagen.id3.Frame):
            yield from (str(text) for text in getattr(value, "text", []))
        else:
            yield from (str(text) for text in (value if isinstance(value, list) else [value]))
