"""The description: what it holds, that hosts can use it, and that no text of a plan gets out of its place."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from markdown_it import MarkdownIt

import pagesession
from cuelane.base.unsafe_text import escape_markdown
from cuelane.deliver.describe import describe
from cuelane.deliver.outline import outline_of
from cuelane.media import Chapter

TIMESTAMP = re.compile(r"^(?:(\d+):)?(\d+):(\d\d) (.+?) *$", re.MULTILINE)


def seconds_of(match: re.Match[str]) -> int:
    return int(match[1] or 0) * 3600 + int(match[2]) * 60 + int(match[3])


def visible(markdown: str) -> str:
    """Return what a CommonMark reader shows of an inline text, or None where it makes an element of it."""
    block = MarkdownIt("commonmark").parse(markdown)
    assert [token.type for token in block] == ["paragraph_open", "inline", "paragraph_close"]
    children = block[1].children or []
    assert {token.type for token in children} <= {"text", "text_special"}, children
    return "".join(token.content for token in children)


def test_the_open_share_is_rounded_as_the_timetable_and_the_check_round_it() -> None:
    """To the nearest hundredth: at 55.8 % one place said 55 and the others 56."""
    outline = outline_of(pagesession.boathouse())
    shares = [replace(outline, length_ms=1000, open_ms=n).open_percent for n in (0, 554, 558, 996, 1000)]
    assert shares == [0, 55, 56, 100, 100]
    exact = 100 * outline.open_ms / outline.length_ms
    (told,) = re.findall(r"No music: (\d+) % of the time", describe(pagesession.boathouse()))
    assert abs(int(told) - exact) <= 0.5


def test_it_says_what_the_session_is() -> None:
    """Length, work, sets, rest and breaths are those of the table, added by hand."""
    text = describe(pagesession.boathouse())

    # 18 s + 4 x 30 s + 10 x 40 s + 6 changes of 5 s + 3 rests of 25 s + 24 x 4 s + 12 s, and 1 s of tail.
    assert text.startswith("# Boathouse legs\n")
    assert "A voice-guided session of 12 min 32 s: 8 min 40 s of work in 14 sets, " in text
    assert "1 min 15 s of rest, 30 s for changes, 6 guided breaths. No music: " in text
    assert "- Reverse lunge: 3 sets, 2 min (left 1 min 20 s, right 40 s)" in text
    assert "- Breathing (1 min 36 s, 6 breaths)" in text
    assert "- Legs (8 min 25 s, 4 rounds): Goblet squat, Reverse lunge, Hip hinge, Calf raise" in text


def test_cautions_and_credits_are_in_it() -> None:
    """Every caution, the hearing advice, the author and the voice's licence are printed."""
    text = describe(pagesession.boathouse(), hearing="Keep it low enough to hear a bell.")

    for line in pagesession.CAUTIONS:
        assert f"- {line}\n" in text
    assert "## Safe listening\n\nKeep it low enough to hear a bell.\n" in text
    assert "Session: The Boathouse" in text
    assert "- Voice: natural. Joe, CC0.\n" in text


def test_timestamps_are_the_blocks_and_start_at_zero() -> None:
    """Lines of M:SS and a title, the first at 0:00, rising; and no other line looks like one."""
    found = list(TIMESTAMP.finditer(describe(pagesession.boathouse())))

    assert [(seconds_of(m), m[4]) for m in found] == [
        (0, "Opening"),
        (18, "Warm-up"),
        (138, "Legs"),
        (643, "Breathing"),
        (739, "Close"),
    ]


def test_timestamps_follow_given_chapters() -> None:
    """Chapters replace the blocks; two that fall in one second leave one line; hours are written out."""
    chapters = [Chapter(250, 900, "One"), Chapter(900, 61_500, "Two"), Chapter(61_500, 3_725_000, "Three")]
    chapters += [Chapter(3_725_000, 3_725_400, "Four"), Chapter(3_725_400, 3_800_000, "Five")]

    text = describe(pagesession.boathouse(), chapters=chapters)

    assert "0:00 One  \n1:01 Three  \n1:02:05 Four\n" in text
    assert "Two" not in text
    assert "Five" not in text


@pytest.mark.parametrize("text", pagesession.HOSTILE)
def test_a_hostile_text_is_shown_as_written(text: str) -> None:
    """A CommonMark reader shows the text itself: no link, no HTML, no code, no emphasis."""
    shown = visible("x " + escape_markdown(text))

    assert shown.split() == ["x", *escape_free(text).split()]


def escape_free(text: str) -> str:
    """Return the letters of `text` that may be shown: all but controls and directional marks."""
    return re.sub("[\x00-\x1f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]", " ", text)


@pytest.mark.parametrize(
    "text",
    ["# head", "1. one", "2) two", "- dash", "+ plus", "> quote", "= under", "~~~", "```", "| a | b |",
     "    code", "[a]: /x", "a\\", "&copy; &#60;", "https://a.example/x",
     "www.a.example", "me@a.example", "***", "___"],
)  # fmt: skip
def test_text_at_a_line_start_stays_text(text: str) -> None:
    """No line of a plan becomes a heading, list, quote, rule, code block, reference or autolink."""
    assert visible(escape_markdown(text)) == " ".join(text.split())


@pytest.mark.parametrize(
    "text", ["https://a.example/x", "www.a.example", "me@a.example", "MAILTO:a@b.example"]
)
def test_addresses_do_not_become_links(text: str) -> None:
    """Readers that link bare addresses (GitHub's extension) find none: it needs an unbroken address."""
    reader = MarkdownIt("commonmark")

    assert text not in escape_markdown(text)
    assert "<a" not in reader.render(escape_markdown(text))


def test_a_hostile_session_gives_no_elements_of_its_own() -> None:
    """In the whole description only our own headings, lists and paragraphs appear."""
    tokens = MarkdownIt("commonmark").parse(describe(pagesession.hostile()))
    inline = [child for token in tokens for child in token.children or []]

    assert {token.type for token in tokens if token.nesting == 1} == {
        "heading_open",
        "paragraph_open",
        "bullet_list_open",
        "list_item_open",
    }
    assert {token.type for token in inline} <= {"text", "text_special", "softbreak", "hardbreak"}
    assert [token.tag for token in tokens if token.type == "heading_open"].count("h1") == 1


def test_the_first_timestamp_is_zero_wherever_the_first_chapter_starts() -> None:
    """A host takes a list for chapters only if it begins at 0:00."""
    chapters = [Chapter(5_000, 9_000, "One"), Chapter(9_000, 20_000, "Two")]

    assert "0:00 One  \n0:09 Two\n" in describe(pagesession.boathouse(), chapters=chapters)
