"""What points at a picture: how sentences are taken apart, weighed, and how well the weighing generalises."""

from __future__ import annotations

import pytest

import picture_sentences as sentences
from cuelane.adapt.words.word_lists import plain
from cuelane.lint.pointing import BIAS, features, pointing
from pointing_fit import both_ways, development, fit, groups, labelled, measured, rates


@pytest.mark.parametrize("first", [0, 100, 200])
@pytest.mark.parametrize("bare", [False, True])
def test_unseen_sentences_are_told_apart(first: int, bare: bool):
    """On each 200 sentences that nothing was fitted to, precision and recall are at least 0.9."""
    unseen = labelled(sentences.UNSEEN_POINTING[first:][:100], sentences.UNSEEN_PLAIN[first:][:100])
    assert len(unseen) == 200
    # Some short ones ("Don't forget to breathe.") were written twice by chance: six of the 600.
    fitted = {plain(text) for members in groups().values() for text, _ in members}
    unseen = [row for row in unseen if plain(row[0]) not in fitted]
    assert len(unseen) >= 195

    precision, recall = rates(*measured(pointing(), unseen, bare=bare))

    assert precision >= 0.9
    assert recall >= 0.9


def test_sentences_of_other_writers_are_told_apart():
    """Fitted to none of the 800 development sentences, precision and recall on them are at least 0.9."""
    measure = fit(groups() | {"development": []})

    precision, recall = rates(*measured(measure, development()))

    assert precision >= 0.9
    assert recall >= 0.9


def test_the_weights_shipped_are_fitted_to_the_sentences_shipped():
    """The weights know what they were fitted to: this says that they belong to it, not how good they are."""
    for members in groups().values():
        assert min(rates(*measured(pointing(), members))) >= 0.97


def test_every_weight_is_of_a_feature_that_can_occur():
    """No weight was left behind by a class that is no more."""
    classes = pointing().classes
    texts = [text for members in groups().values() for row in members for text in both_ways(row[0])]
    found = {name for text in texts for name in features(classes.words(text), classes)}

    assert set(pointing().weights) - found == {BIAS}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Don't look.", [("do", "DO"), ("n't", "NOT"), ("look", "LOOK")]),
        ("Like Zelda’s?", [("like", "like"), ("zelda", "PERSON"), ("'s", "BE"), ("?", "?")]),
        ("Up, down.", [("up", "PREP"), ("|", "|"), ("down", "PREP")]),
        ("Rose up", [("rose", "~"), ("up", "PREP")]),
        ("Zigging", [("zigging", "~ing")]),
        ("", []),
    ],
)  # fmt: skip
def test_a_word_has_a_class(text, words):
    """Contractions come apart, names are known by list or capital, other words by their ending."""
    assert pointing().classes.words(text) == words


def test_the_most_telling_sentence_decides():
    """A plain sentence beside it does not hide the one that points."""
    measure = pointing()
    alone = measure.score("Look at my elbow.")

    assert measure.score("Keep your heels heavy. Keep your back long. Look at my elbow.") >= alone > 0


def test_words_that_run_on_are_weighed_in_stretches():
    """Without punctuation, plain sentences on either side do not hide the one that points."""
    before = "push through the whole foot and keep your chest lifted as you lower and breathe out"
    after = "rest for thirty seconds and grab some water and keep your shoulders down and your neck long"

    assert pointing().score(f"{before} look at where i have put my elbow {after}") > 0
    assert pointing().score(f"{before} {after}") < 0


def test_text_without_words_is_not_marked():
    """Silence, punctuation and a language nobody fitted are no reason to drop anything."""
    for text in ("", "...", "?!", "Die Fersen bleiben schwer."):
        assert pointing().score(text) < 0


def test_another_language_is_weighed_as_english():
    """There is no other measure yet."""
    assert pointing("de").weights == pointing("en").weights
