"""The desk in every language: whole tables, the language of a request, and no English left in a view."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from cuelane.audio.store import ClipStore
from cuelane.base.language import available_languages
from cuelane.base.roles import ROLES
from cuelane.desk.app import application, whole_desk
from cuelane.desk.composing import Composing
from cuelane.desk.forms import all_fields, exercise_items, plan_fields, session_items
from cuelane.desk.labels import help_of, label_of, role_of
from cuelane.desk.spoken_in import COOKIE, SpokenIn, wanted_by
from cuelane.desk.words import Said, desk_words, in_language
from cuelane.plan.starter import PATTERNS, starter_plan
from cuelane.speech.speak import speak_all
from deskkit import ask, post

OTHERS = [code for code in available_languages() if code != "en"]
NAMES = (
    r"qqq|www|zz|Q1|Qqq|Www|Pier legs|[ab]\.yaml|cuelane|system|Opening|Get ready|Closing|left|right|"
    r"min|kg|LU|MET|kcal|YAML"
)
"""What the plan names, in its own words or by the pack of its language, and the symbols of units."""

PLAN = """\
title: Pier legs
language: {code}
voice: system
cautions: none
praise: false
session:
  - block: Q1
    pattern: circuit
    work: 40s
    settle: 5s
    rest: 25s
    rounds: 2
    exercises: [qqq, www]
  - say: zz.
exercises:
  qqq:
    setup: {{text: zz zz., must: true}}
    form: zz zz zz.
  www:
    sides: alternate
"""


def pack(code: str) -> dict[str, Any]:
    file = resources.files("cuelane") / "languages" / f"{code}_desk.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


def slots(entry: Any) -> set[str]:
    return set(re.findall(r"\{(\w+)\}", str(entry)))


@pytest.mark.parametrize("code", available_languages())
def test_a_desk_pack_has_every_word_with_every_slot(code: str) -> None:
    """The same sections, keys and kinds of entry as in English, and in each the same slots filled."""
    english, other = pack("en"), pack(code)
    assert {(s, key) for s in other for key in other[s]} == {(s, key) for s in english for key in english[s]}
    for section, entries in english.items():
        for key, entry in entries.items():
            found = other[section][key]
            assert type(found) is type(entry), (section, key)
            assert slots(found) == slots(entry), (section, key)
            if isinstance(entry, dict):
                assert set(found) == {"one", "other"}, (section, key)
                # In French and Portuguese "one" is said of 0 too: no word may stand for the count.
                assert code not in ("fr", "pt-BR") or slots(found["one"]) == slots(found["other"])
            texts = found.values() if isinstance(found, dict) else [found]
            assert all(text.strip() == text and text for text in texts), (section, key)


@pytest.mark.parametrize("code", OTHERS)
def test_no_sentence_was_left_in_english(code: str) -> None:
    """What has three words or more is worded otherwise than in English."""
    english, other = pack("en"), pack(code)
    same = [
        f"{section}.{key}"
        for section, entries in english.items()
        for key, entry in entries.items()
        if entry == other[section][key]
        and len(re.findall(r"[A-Za-z]{2,}", re.sub(r"\{\w+\}", "", str(entry)))) > 2
    ]
    assert same == []


@pytest.mark.parametrize("code", available_languages())
def test_no_two_buttons_of_a_view_are_called_the_same(code: str) -> None:
    """Undo is not keep, and earlier is not later."""
    words = pack(code)
    for section, keys in {
        "top": ("compose", "booth", "finish", "undo", "redo"),
        "hear": ("must", "may", "earlier", "later", "much_earlier", "much_later", "heavier", "lighter"),
        "booth": ("record", "stop", "again", "hear", "keep", "back", "previous", "next"),
        "compose": ("error", "misfit", "warning", "keep_mine", "take_theirs", "up", "down", "remove"),
        "shelf": ("checked_good", "checked_bad", "unchecked", "unmade"),
    }.items():
        assert len({words[section][key] for key in keys}) == len(keys), section
    assert len(set(words["pattern"].values())) == len(PATTERNS)


@pytest.mark.parametrize("code", available_languages())
def test_what_sends_somebody_to_another_place_calls_it_as_it_is_called(code: str) -> None:
    """A view, or a part of the page, by its own name in that language."""
    words = pack(code)
    for section, key, place in (
        ("shelf", "rename_help", words["top"]["finish"]),
        ("shelf", "renamed_made", words["top"]["finish"]),
        ("shelf", "was_deleted", words["shelf"]["deleted"]),
        ("shelf", "rename_folder_help", words["top"]["finish"]),
    ):
        assert place in words[section][key], (section, key)


@pytest.mark.parametrize("code", available_languages())
def test_no_two_kinds_of_line_are_called_the_same_on_the_desk(code: str) -> None:
    """What is announced has a name of its own there, which no other role has."""
    with in_language(code):
        assert len({role_of(role) for role in ROLES}) == len(list(ROLES))


def test_every_field_of_every_part_has_its_label_and_its_help() -> None:
    """A key that the plan learns must be put into the tables: its own help would be English in every one."""
    data = {
        "pips": {},
        "talk_share": {},
        "session": [
            *({"block": "a", "pattern": one, "exercises": [{"exercise": "a"}]} for one in PATTERNS),
            {"say": {"text": "a"}},
            {"rest": "3s"},
            {"include": "a.yaml"},
        ],
        "exercises": {"a": {"setup": [{"text": "a"}]}},
    }
    items = [*session_items(data), *exercise_items(data)]
    words = desk_words("en")
    told = set(pack("en")["help"].values())
    seen = 0
    for field in all_fields([*plan_fields(data), *(field for item in items for field in item.fields)]):
        if field.label in ("", "pattern", "text"):
            continue
        assert label_of(field) in pack("en")["label"].values(), field.path
        assert help_of(field) in told or not field.help, field.path
        seen += 1
    assert seen > 100
    assert words.code == "en"


# RFC 9110, section 12.5.4: weights from 0 to 1, 1 where none is given, 0 for what is not wanted.
@pytest.mark.parametrize(
    ("header", "language"),
    [
        ("", None), ("de", "de"), ("de-AT,de;q=0.9,en;q=0.8", "de"), ("en;q=0.5,fr-CA", "fr"),
        ("*", None),
        ("pt-BR", "pt-BR"), ("pt-PT,pt;q=0.9,en;q=0.1", "pt-BR"), ("xx,es;q=0.001", "es"),
        ("de;q=0,it", "it"),
        ("de;q=2,it;q=0.1", "it"), ("de;q=nan,it;q=0.1", "it"), (";;;,,=,de;q=", None), ("it, fr", "it"),
    ],
)  # fmt: skip
def test_a_browser_is_answered_in_the_language_it_likes_best(header: str, language: str | None) -> None:
    """Of those that the desk speaks; what is no weight or no tag counts for nothing."""
    assert wanted_by(header) == language


def desk_in(folder: Path, language: str | None = None) -> SpokenIn:
    return SpokenIn(application(folder, ClipStore(folder / "store")), language)


def html_of(app: SpokenIn, path: str, **headers: str) -> str:
    answer = ask(app, "GET", path, headers={key.replace("_", "-"): value for key, value in headers.items()})
    assert answer.status == 200, answer.body
    return answer.body.decode()


def language_of(html: str) -> str:
    found = re.search(r'<html lang="([^"]+)"', html)
    assert found is not None
    return found[1]


def test_what_is_chosen_in_the_page_counts_before_the_command_and_the_browser(tmp_path: Path) -> None:
    """Then what the command says, then what the browser asks for, then English."""
    asked, plain = desk_in(tmp_path, "it"), desk_in(tmp_path)
    cookie = f"a=b; {COOKIE}=fr"
    assert language_of(html_of(asked, "/", accept_language="de", cookie=cookie)) == "fr"
    assert language_of(html_of(asked, "/", accept_language="de")) == "it"
    assert language_of(html_of(plain, "/", accept_language="de")) == "de"
    assert language_of(html_of(plain, "/", accept_language="de", cookie=f"{COOKIE}=../xx")) == "de"
    assert language_of(html_of(plain, "/")) == "en"


def test_a_finding_is_worded_for_whoever_looks(tmp_path: Path) -> None:
    """The same plan, planned once, at two pages in two languages."""
    (tmp_path / "a.yaml").write_text(PLAN.format(code="en").replace("[qqq, www]", "[qqq, rrr]"), "utf-8")
    app = desk_in(tmp_path)
    labels = {}
    for code in ("en", "de", "en"):
        state = ask(app, "GET", "/api/plan/a.yaml", headers={"accept-language": code}).json
        (finding,) = [row for row in state["findings"] if row["level"] == "error"]
        # What the plan's reader says is English, and says so.
        assert finding["lang"] == "en"
        labels[code] = finding["fixes"][0]["label"]
        with in_language(code):
            assert labels[code] in (
                str(Said("remedy.add", name="rrr")),
                str(Said("remedy.meant", name="qqq")),
            )
    assert labels["en"] != labels["de"]


def test_a_refusal_is_told_with_its_language(tmp_path: Path) -> None:
    """The desk's own words in the page's language; those of the rest of the program in English."""
    (tmp_path / "a.yaml").write_text(PLAN.format(code="de"), "utf-8")
    app = desk_in(tmp_path, "de")
    gone = post(
        app, "/api/plan/a.yaml/edit", {"number": 1, "edits": [{"op": "remove", "at": "session/9"}]}
    ).json
    odd = post(app, "/api/new", {"title": "", "pattern": "circuit"}).json
    assert (gone["error"], gone["lang"]) == (desk_words("de").wrong["gone"], "de")
    assert odd["lang"] == "en"


@pytest.mark.parametrize(
    ("there", "title", "name"),
    [
        ("legs.yml", "Legs", "legs-2.yaml"),
        ("LEGS.yaml", "Legs", "legs-2.yaml"),
        ("a.yaml", "Con", "con-2.yaml"),
        # The accent of a letter may come by itself, as from the names of files on a Mac.
        ("a.yaml", "E\u0301te\u0301: “one” & two", "\u00e9t\u00e9-one-two.yaml"),
        # Signs that no letter has in one piece: a dot of Turkish, vowels of Hindi.
        ("a.yaml", "\u0130stanbul one", "i\u0307stanbul-one.yaml"),
        ("a.yaml", "\u092f\u094b\u0917 one", "\u092f\u094b\u0917-one.yaml"),
        ("a.yaml", "🏋️ ..", "plan.yaml"),
    ],
)
def test_a_new_plan_shares_no_name(tmp_path: Path, there: str, title: str, name: str) -> None:
    """Nor what is made of it, with another plan: both tracks would be one file. Windows keeps some names."""
    (tmp_path / there).write_text(PLAN.format(code="en"), "utf-8")
    made = post(desk_in(tmp_path, "en"), "/api/new", {"title": title, "pattern": "circuit"}).json
    assert made["name"] == name


@pytest.mark.parametrize("code", available_languages())
def test_a_new_plan_is_in_the_language_of_the_page(code: str, tmp_path: Path) -> None:
    """With words of that language, and so are the parts that are added to it, whoever adds them."""
    name = post(desk_in(tmp_path, code), "/api/new", {"title": "Aaa", "pattern": "circuit"}).json["name"]
    text = (tmp_path / name).read_text("utf-8")
    assert text == starter_plan("circuit", "Aaa", code)

    change = {"number": 1, "edits": [{"op": "add", "kind": "say"}]}
    after = post(desk_in(tmp_path, "en"), f"/api/plan/{name}/edit", change).json["text"]
    assert desk_words(code).new["say"] in after


class Texts(HTMLParser):
    """The texts of a page, and its labels, without what is marked as another language than the page's."""

    WORDED = ("aria-label", "placeholder", "title")
    SILENT = ("script", "style", "path", "svg", "textarea")
    EMPTY = ("meta", "link", "input", "br", "path", "rect", "line")

    def __init__(self, language: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self._own = language
        self._open: list[tuple[str, str]] = [("", language)]

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        values = dict(attributes)
        language = values.get("lang") or self._open[-1][1]
        if language == self._own and tag not in self.SILENT:
            self.found += [values[name] or "" for name in self.WORDED if name in values]
        if tag not in self.EMPTY:
            self._open.append((tag, language))

    def handle_endtag(self, tag: str) -> None:
        while len(self._open) > 1 and self._open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        tag, language = self._open[-1]
        if language == self._own and tag not in self.SILENT and data.strip():
            self.found.append(" ".join(data.split()))


def entries(code: str) -> Iterator[str]:
    file = resources.files("cuelane") / "languages" / f"{code}_page.toml"
    for table in (pack(code), tomllib.loads(file.read_text(encoding="utf-8"))):
        for section in table.values():
            for entry in section.values():
                yield from entry.values() if isinstance(entry, dict) else [str(entry)]
    # A pattern is called by what stands before its colon, and what it does stands by itself.
    for entry in pack(code)["pattern"].values():
        name, _, does = entry.partition(":")
        yield from (name.strip(), does.strip())
    # What is added to a reason stands behind it.
    why = resources.files("cuelane") / "languages" / f"{code}_why.toml"
    for entry in tomllib.loads(why.read_text(encoding="utf-8")).values() if why.is_file() else ():
        yield entry.replace("{why}", "").strip(" ,;")


def pattern_of(code: str) -> re.Pattern[str]:
    """What a text of a view may be: an entry of the language's tables with something in its slots."""
    known = sorted({re.sub(r"\\{\w+\\}", ".*", re.escape(" ".join(text.split()))) for text in entries(code)})
    # An entry of slots alone would let anything through; what "named" puts together is looked at in parts.
    return re.compile("|".join(one for one in known if re.search(r"\w{2}", one.replace(".*", ""))))


def is_known(text: str, known: re.Pattern[str]) -> bool:
    """Tell whether a text is of the tables, a name of the plan, or has no word of any language."""
    text = " ".join(re.sub(rf"\b(?:{NAMES})\b", "", text).split())
    bare = " ".join(re.sub(r"\d\S*", "", text).split())
    if known.fullmatch(text) or known.fullmatch(bare) or not re.search(r"[^\W\d_]{2}", bare):
        return True
    places = [match.span() for match in re.finditer(r"\s?[:;] ?|, |\.$| \(|\)", text)]
    return any(is_known(text[:start], known) and is_known(text[end:], known) for start, end in places)


@pytest.mark.parametrize("code", OTHERS)
def test_no_view_has_a_word_of_another_language(code: str, tmp_path: Path) -> None:
    """Each text and label is an entry of the language's own tables, or is marked as another's."""
    (tmp_path / "a.yaml").write_text(PLAN.format(code="en"), "utf-8")
    (tmp_path / "b.yaml").write_text("title: [", "utf-8")
    away = tmp_path / "deleted" / "2026-01-02 03.04.05 a"
    away.mkdir(parents=True)
    (away / "a.yaml").write_text(PLAN.format(code="en"), "utf-8")
    app, known = desk_in(tmp_path, code), pattern_of(code)
    names = {
        str(row) for row in re.findall(r'data-language="[^"]+" lang="[^"]+"[^>]*>([^<]+)<', html_of(app, "/"))
    }
    odd = {}
    paths = (
        "/",
        "/plan/a.yaml",
        "/plan/b.yaml",
        "/booth/a.yaml",
        "/booth/b.yaml",
        "/finish/a.yaml",
        "/classes",
    )
    for path in paths:
        texts = Texts(code)
        texts.feed(html_of(app, path))
        assert len(texts.found) > 10, path
        left = [text for text in texts.found if text not in names and not is_known(text, known)]
        if left:
            odd[path] = left
    score = Texts(code)
    score.feed(ask(app, "GET", "/api/plan/a.yaml/score").json["score"])
    left = [text for text in score.found if not is_known(text, known)]
    assert (odd, left) == ({}, [])


@pytest.mark.parametrize("code", available_languages())
def test_examples_in_empty_fields_are_of_the_language(code: str, tmp_path: Path) -> None:
    """Nobody is shown "one dumbbell" in another language; the schema's own are the English ones."""
    (tmp_path / "a.yaml").write_text(PLAN.format(code=code), "utf-8")
    texts = Texts(code)
    texts.feed(html_of(desk_in(tmp_path, code), "/plan/a.yaml"))
    own, english = pack(code)["example"], pack("en")["example"]
    for key in ("needs", "load"):
        assert str(desk_words(code)("compose.example", value=own[key])) in texts.found
        assert code == "en" or not [text for text in texts.found if english[key] in text]


def test_a_person_is_told_which_voices_and_languages_there_are(tmp_path: Path) -> None:
    """Beside the fields that take a name: those of the plan's language, and its own recordings first."""
    (tmp_path / "voices" / "mine").mkdir(parents=True)
    (tmp_path / "voices" / "mine" / "index.json").write_text("{}", "utf-8")
    (tmp_path / "a.yaml").write_text(PLAN.format(code="es"), "utf-8")
    html = html_of(desk_in(tmp_path, "en"), "/plan/a.yaml")
    told = re.search(r"For this language there are ([^<]+)\.</span>", html)
    assert told is not None
    voices = told[1].split(", ")
    assert voices[0] == "mine"
    assert "system-es" in voices
    assert not {"natural", "system", "system-fr"} & set(voices)
    assert '<option value="pt-BR" lang="pt-BR">Português (Brasil)</option>' in html


# WCAG 2.2, success criterion 2.5.3 (label in name): the name holds the text that is shown.
@pytest.mark.parametrize("code", available_languages())
def test_what_moves_and_removes_shows_a_word_that_is_in_its_name(code: str, tmp_path: Path) -> None:
    """No bare sign, which only a screen reader would be told the meaning of."""
    (tmp_path / "a.yaml").write_text(PLAN.format(code="en"), "utf-8")
    html = html_of(desk_in(tmp_path, code), "/plan/a.yaml")
    pattern = r'<button [^>]*data-do="(\w+)"[^>]*aria-label="([^"]+)"[^>]*>([^<]*)</button>'
    found = re.findall(pattern, html)
    assert {do for do, _, _ in found} == {"up", "down", "copy", "remove"}
    assert [row for row in found if not row[2].isalpha() and " " not in row[2]] == []
    assert [row for row in found if row[2].lower() not in row[1].lower()] == []


def test_the_check_of_views_sees_a_word_of_english() -> None:
    """The test above would tell it."""
    known = pattern_of("de")
    assert is_known(desk_words("de").compose["add_block"], known)
    assert not is_known(desk_words("en").compose["add_block"], known)
    assert not is_known("Entfernen: the words of nobody", known)


def test_doubts_about_a_spoken_line_and_the_voice_stand_beside_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A line that a rule hears something wrong in, and a voice that does not speak the plan's language."""
    (tmp_path / "a.yaml").write_text(PLAN.format(code="it"), "utf-8")

    def doubtful(texts: Any, *values: Any, **options: Any) -> Any:
        spoken = speak_all(texts, *values, **options)
        found = {text: "its end is cut off" for text in spoken.clips if text == "zz zz zz."}
        return replace(spoken, doubts=found)

    monkeypatch.setattr("cuelane.desk.app.speak_all", doubtful)
    composing = Composing(tmp_path, ClipStore(tmp_path / "store"))
    app = SpokenIn(whole_desk(composing), "de")
    composing.workspaces.open("a.yaml").spoken()
    findings = ask(app, "GET", "/api/plan/a.yaml").json["findings"]

    (line,) = [row for row in findings if row["hint"] == "its end is cut off"]
    assert line["at"] == "exercises/qqq/form"
    assert (line["message"], line["lang"]) == (desk_words("de")("spoken.doubt", text="zz zz zz."), "de")
    (voice,) = [row for row in findings if row["at"] == "voice"]
    assert "speaks en" in voice["message"]
    assert voice["lang"] == "en"
