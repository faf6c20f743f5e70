"""What a sentence of a recorded class is for: the judge, its doubts, and a person's word against it."""

from __future__ import annotations

import re

import pytest

from cuelane.adapt.decisions import decide, decisions_text, read_decisions, with_purposes
from cuelane.adapt.untrue_calls import UntrueCalls
from cuelane.adapt.words.found_cues import FoundCue
from cuelane.adapt.words.role_judge import NAMES, OUT, role_judge
from cuelane.adapt.words.word_lists import word_lists
from cuelane.base.errors import PlanError
from cuelane.base.language import load_language
from role_fit import fitted, unseen

UNSEEN = unseen()


def test_the_unseen_sentences_stand_apart():
    """None of the 200 is one that the table is fitted to, and each has a purpose that there is."""
    learnt = {row.text.casefold() for row in fitted()}

    assert len(UNSEEN) == 200
    assert not [row.text for row in UNSEEN if row.text.casefold() in learnt]
    assert {row.role for row in [*UNSEEN, *fitted()]} <= set(NAMES)


def test_what_sentences_are_for_is_found_as_measured():
    """On sentences that nothing was fitted to: 178 of 200 were right when measured, 165 of 173 called sure.

    The table is a file, so that only a change of it, the hints or the judge can change this.
    """
    judge = role_judge()
    found = [(row, judge.judge(row.text, row.where)) for row in UNSEEN]
    right = sum(row.role == one.name for row, one in found)
    sure = [row.role == one.name for row, one in found if one.is_sure]

    assert right >= 171
    assert len(sure) >= 150
    assert sum(sure) / len(sure) >= 0.93


@pytest.mark.parametrize(
    ("text", "where", "role"),
    [
        ("If twelve's too many, do six.", "work", "easier"),
        ("Stay lower if your legs are burning.", "work", "easier"),
        ("When you're finished, walk about and breathe.", "work", "rest"),
        ("Don't tip forward.", "work", "form"),
        ("Change hands on each rep.", "work", "form"),
        ("Deadlifts, heavier if you dare.", "begin", "announce"),
        ("Four seconds down, then stand.", "work", "form"),
        ("Three seconds out, three seconds in.", "work", "form"),
        ("In for five counts, out for seven.", "work", "form"),
        ("Fantastic, everybody.", "closing", "praise"),
    ],
)
def test_what_made_classes_showed_to_be_judged_wrongly_is_judged_right(text, where, role):
    """None of these is one that it is fitted to; others of their kind are."""
    assert text not in {row.text for row in fitted()}
    assert role_judge().judge(text, where).name == role


def in_figures(text: str) -> str:
    """Return `text` as a recogniser may write it: its numbers from two to 99 in figures."""
    say = load_language("en").number
    counted = {say(n).replace("-", " "): str(n) for n in range(2, 100)}
    words = "|".join(sorted(counted, key=len, reverse=True))
    said = re.sub(r"(?<=ty)-", " ", text)
    return re.sub(rf"\b({words})\b", lambda found: counted[found[0].lower()], said, flags=re.IGNORECASE)


def test_numbers_in_figures_are_read_like_numbers_in_words():
    """What is said is the same, however who hears it writes it: its purpose, its truth, what it points at."""
    judge, untrue, lists = role_judge(), UntrueCalls(), word_lists()
    rows = [row for row in fitted() if in_figures(row.text) != row.text]

    assert len(rows) > 100
    for row in rows:
        other = in_figures(row.text)
        assert judge.judge(other, row.where) == judge.judge(row.text, row.where), other
        assert untrue.tells_time(other, row.role) == untrue.tells_time(row.text, row.role), other
        assert lists.reasons(other) == lists.reasons(row.text), other
    assert untrue.tells_time("Move when you like, 3 rounds of that.", "say")
    assert not untrue.tells_time("Lift 1 leg at a time.", "form")


@pytest.mark.parametrize(
    "text", ["relax your shoulders", "relax your jaw relax your hands", "rest your hands on your belly"]
)
def test_what_to_relax_in_a_set_is_form(text):
    """ "Relax" alone calls a rest."""
    assert role_judge().judge(text, "work").name == "form"
    assert role_judge().judge("and relax", "rest").name == "rest"


@pytest.mark.parametrize(
    ("text", "where", "role"),
    [
        # Ways for those for whom it is easy or too much, and how one begins; none of these was fitted to.
        ("If your foot cramps, put it flat.", "work", "easier"),
        ("Heavier band if that's easy.", "work", "harder"),
        ("Feet wide, bells at your sides.", "begin", "setup"),
        ("Don't shrug them.", "work", "form"),
        ("Push the ground away from you.", "work", "form"),
        ("Push the floor away.", "work", "form"),
        ("And push, push!", "work", "praise"),
        ("Sweep your back leg behind you.", "begin", "setup"),
        ("Swing one leg behind you.", "begin", "setup"),
        ("Check what is behind you before you step.", "begin", "caution"),
    ],
)
def test_what_is_pushed_is_no_praise_and_what_is_behind_no_danger(text, where, role):
    """ "Push" alone urges on, and what is behind one is a danger if one is to look for it."""
    assert role_judge().judge(text, where).name == role


def test_what_is_not_for_listeners_is_proposed_and_little_else():
    """Of 25 asides and greetings nearly all are proposed for leaving out, and few of the 175 others."""
    judge = role_judge()
    out = [row for row in UNSEEN if judge.judge(row.text, row.where).is_out]

    assert sum(row.role in OUT for row in out) >= 20
    assert sum(row.role not in OUT for row in out) <= 5


def test_shares_add_up_whatever_is_said():
    """No words, one word and a thousand: each has a most likely purpose, and the shares are one in all."""
    for text in ("", "Rest", "and " * 1000, "\u202e{}<b>", "十秒"):
        shares = role_judge().shares(text, "work")
        assert sum(shares.values()) == pytest.approx(1.0)
        assert set(shares) <= set(NAMES)


def test_a_guess_is_marked_and_a_person_decides(tmp_path):
    """A role that is a guess has a question mark and its second; the word written there instead holds."""
    cues = [
        FoundCue(1.0, 2.0, "Chest up.", "form", 0, judged="form", share=0.9, second="setup"),
        FoundCue(4.0, 5.0, "And let go.", "say", 0, judged="rest", share=0.4, second="form"),
        FoundCue(7.0, 8.0, "Lift it.", "form", 0, judged="form", share=0.4, second="setup"),
    ]
    text = decisions_text(cues, [True] * 3, [])
    assert "keep  0:01.0  form     | Chest up.\n" in text
    assert "keep  0:04.0  rest?    | And let go.    # or form\n" in text

    path = tmp_path / "decisions.txt"
    path.write_text(
        text.replace("form?    | Lift", "setup | Lift").replace("rest? ", "rest "), encoding="utf-8"
    )
    decisions = read_decisions(path)
    decided = with_purposes(cues, decisions)
    assert [(cue.purpose, cue.role, cue.is_sure) for cue in decided] == [
        ("form", "form", True), ("rest", "say", True), ("setup", "setup", True)
    ]  # fmt: skip
    assert decide(cues, decisions)[0] == [True] * 3
    # Written again, and read again, it is the same.
    again = decisions_text(decided, [True] * 3, [])
    path.write_text(again, encoding="utf-8")
    assert with_purposes(cues, read_decisions(path)) == decided


def test_a_purpose_that_there_is_not_is_named(tmp_path):
    """A word that is no purpose is an error with its line; a line without one is as good as before."""
    path = tmp_path / "decisions.txt"
    path.write_text("drop 0:04.0 | Watch my knee.\nkeep 0:09 forme | Chest up.\n", encoding="utf-8")

    with pytest.raises(PlanError, match=r"2:1: expected what the line is for, one of announce, "):
        read_decisions(path)
