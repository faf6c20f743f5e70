"""Lexicons are read whole or refused with a line, and change only the words they name."""

from __future__ import annotations

import pytest

from cuelane.base.errors import PlanError
from cuelane.speech.definition import voices_folder
from cuelane.speech.lexicon import read_lexicon
from cuelane.speech.prepare import spoken_as

HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<lexicon version="1.0" xmlns="http://www.w3.org/2005/01/pronunciation-lexicon" '
    'alphabet="ipa" xml:lang="en">\n'
)


def lexicon(tmp_path, body, head=HEAD):
    path = tmp_path / "words.pls"
    path.write_text(f"{head}{body}\n</lexicon>\n", encoding="utf-8")
    return read_lexicon(path)


def test_an_alias_replaces_whole_words_only(tmp_path):
    """KB becomes kettlebell; KBS, TKB and a part of a word stay."""
    words = lexicon(tmp_path, "<lexeme><grapheme>KB</grapheme><alias>kettlebell</alias></lexeme>")

    assert spoken_as("One KB, no TKB, no KBS.", "en", words) == "One kettlebell, no TKB, no KBS."


def test_case_follows_the_grapheme(tmp_path):
    """A spelling with a capital matches only as written; one without matches any case."""
    words = lexicon(
        tmp_path,
        "<lexeme><grapheme>HIIT</grapheme><alias>hit</alias></lexeme>"
        "<lexeme><grapheme>psoas</grapheme><alias>so-as</alias></lexeme>",
    )

    assert spoken_as("Hiit. HIIT. Psoas. psoas.", "en", words) == "Hiit. hit. so-as. so-as."


def test_the_longest_spelling_wins(tmp_path):
    """Of two entries that begin alike the one that says more is taken."""
    words = lexicon(
        tmp_path,
        "<lexeme><grapheme>get</grapheme><alias>fetch</alias></lexeme>"
        "<lexeme><grapheme>get up</grapheme><alias>rise</alias></lexeme>",
    )

    assert spoken_as("Get up and get it.", "en", words) == "rise and fetch it."


def test_the_preferred_pronunciation_is_used(tmp_path):
    """The first is used unless another is marked prefer (W3C PLS 1.0, 4.6; value from memory)."""
    words = lexicon(
        tmp_path,
        "<lexeme><grapheme>a</grapheme><alias>one</alias><alias prefer='true'>two</alias></lexeme>"
        "<lexeme><grapheme>b</grapheme><phoneme>x</phoneme><phoneme>y</phoneme></lexeme>",
    )

    assert words.lexemes[0].alias == "two"
    assert words.lexemes[1].phoneme == "x"


def test_examples_and_metadata_are_skipped(tmp_path):
    """What only people read does no harm, with anything inside."""
    words = lexicon(
        tmp_path,
        "<meta name='by' content='x'/><metadata><rdf>text</rdf></metadata>"
        "<lexeme><grapheme>DB</grapheme><alias>dumbbell</alias><example>One DB.</example></lexeme>",
    )

    assert len(words.lexemes) == 1


BAD = {
    "unknown element": (
        "<lexeme>\n<grapheme>a</grapheme><sound>b</sound></lexeme>",
        4,
        "<sound> is not known",
    ),
    "no grapheme": ("<lexeme><alias>b</alias></lexeme>", 3, "no <grapheme>"),
    "no pronunciation": ("<lexeme><grapheme>a</grapheme></lexeme>", 3, "no <alias> and no <phoneme>"),
    "empty": ("<lexeme><grapheme> </grapheme><alias>b</alias></lexeme>", 3, "<grapheme> is empty"),
    "misplaced": ("<grapheme>a</grapheme>", 3, "belongs in <lexeme>"),
    "another alphabet": (
        "<lexeme><grapheme>a</grapheme><phoneme alphabet='x-sampa'>b</phoneme></lexeme>",
        3,
        'only alphabet="ipa"',
    ),
    "not closed": ("<lexeme>", 4, "mismatched tag"),
    "raw phoneme marks": ("<lexeme><grapheme>a</grapheme><alias>[[b]]</alias></lexeme>", 3, "may not hold"),
    "foreign namespace": ("<x:lexeme xmlns:x='urn:x'/>", 3, "outside the PLS namespace"),
    "loose text": ("hello", 4, "loose text"),
}


@pytest.mark.parametrize(("body", "line", "message"), BAD.values(), ids=BAD.keys())
def test_what_is_not_understood_is_refused_with_its_line(tmp_path, body, line, message):
    """File and line stand in the message."""
    with pytest.raises(PlanError, match=r"words\.pls") as caught:
        lexicon(tmp_path, body)

    assert message in str(caught.value)
    assert caught.value.problems[0].mark.line == line


def test_entities_are_refused_before_they_grow(tmp_path):
    """A document that declares anything is refused at the declaration."""
    head = '<!DOCTYPE lexicon [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;">]>\n' + HEAD.split("\n", 1)[1]
    with pytest.raises(PlanError, match="no DOCTYPE"):
        lexicon(tmp_path, "<lexeme><grapheme>&b;</grapheme><alias>x</alias></lexeme>", head)


def test_a_lexicon_must_say_its_version_and_language(tmp_path):
    """Both attributes are required by PLS 1.0 (value from memory)."""
    with pytest.raises(PlanError, match="xml:lang"):
        lexicon(tmp_path, "", HEAD.replace(' xml:lang="en"', ""))
    with pytest.raises(PlanError, match=r'version="1\.0"'):
        lexicon(tmp_path, "", HEAD.replace('version="1.0" xmlns', 'version="2.0" xmlns'))


def test_a_missing_or_huge_lexicon_is_refused(tmp_path):
    """Neither an absent file nor ten megabytes are read."""
    with pytest.raises(PlanError, match="cannot be read"):
        read_lexicon(tmp_path / "none.pls")
    huge = tmp_path / "huge.pls"
    huge.write_bytes(b" " * 1_000_001)
    with pytest.raises(PlanError, match="larger than 1 MB"):
        read_lexicon(huge)


def test_our_own_lexicon_is_whole():
    """Every entry has an alias, so that every engine can use it, and none is listed twice."""
    words = read_lexicon(voices_folder() / "lexicon-en.pls")
    spellings = [grapheme for lexeme in words.lexemes for grapheme in lexeme.graphemes]

    assert all(lexeme.alias for lexeme in words.lexemes)
    assert len(spellings) == len(set(spellings))
