"""Cues that no template finds: those that have none, those said by another voice, and foreign words."""

from __future__ import annotations

import numpy as np

from cuelane.check.findings import Finding, Findings
from cuelane.check.intake import ANALYSIS_RATE, CheckedSound
from cuelane.check.speech.without_model import UNSURE, find_speech

MOST_SHARE = 0.8
"""Chosen: when this share of the cues do not sound like their clips, the voice is another one; with fewer,
the words of each are wrong."""
# Chosen: with fewer missing cues than this, too, the words of each are taken to be wrong.
FEWEST = 4
# Chosen: a shorter sound is a noise, not words.
LEAST_S = 0.25
# Chosen: over the usual level between events; lower takes music for a voice.
SOUNDING_DB = 12.0
LEAST_SHARE = 0.4
"""Chosen: a sound shorter than this share of the cue is a noise, not other words."""


def add_plain(findings: Findings, recording: CheckedSound, rate: float, between_dbfs: float) -> None:
    """Find the cues that have no template by energy, where the sound between events is low enough."""
    rows = [f for f in findings.rows if f.source == "none"]
    if not rows:
        return
    pips = [span for f in findings.rows if f.expected.kind and (span := _span(f, rate))]
    places = [(f.place_s, f.place_s + f.expected.length_s * rate) for f in rows]
    for finding, speech in zip(rows, find_speech(recording, places, pips, between_dbfs), strict=True):
        finding.unsure = speech is UNSURE
        if speech is not None and speech is not UNSURE:
            finding.plain_s = speech.onset_s


def add_foreign(findings: Findings, recording: CheckedSound, rate: float, between_dbfs: float) -> bool:
    """Look for speech where a cue with a template is missing; return whether another voice says them all.

    Then those cues are timed by their onsets alone; else each of them is marked as foreign.
    """
    modelled = [f for f in findings.rows if f.expected.kind is None and f.source != "none"]
    rows = [f for f in modelled if f.time_s is None and f.instead is None]
    if not rows:
        return False
    others = [span for f in findings.rows if (span := _span(f, rate))]
    others += [(copy.time_s, copy.time_s + LEAST_S) for copy in findings.copies]
    places = [(f.place_s, f.place_s + f.expected.length_s * rate) for f in rows]
    said: list[tuple[Finding, float]] = []
    for finding, speech in zip(
        rows, find_speech(recording, places, others, between_dbfs, any_length=True), strict=True
    ):
        least_s = max(LEAST_S, LEAST_SHARE * finding.expected.length_s)
        if speech is not None and speech is not UNSURE and speech.end_s - speech.onset_s >= least_s:
            said.append((finding, speech.onset_s))
    many = len(rows) >= max(FEWEST, MOST_SHARE * len(modelled))
    another = many and 2 * len(said) >= len(rows)
    for finding, onset_s in said:
        if another:
            finding.source, finding.plain_s = "none", onset_s
        else:
            finding.foreign = True
    if another:
        for finding in rows:
            if finding.plain_s is None and _level_dbfs(recording, finding, rate) > between_dbfs + SOUNDING_DB:
                finding.source, finding.unsure = "none", True
    return another


def _level_dbfs(recording: CheckedSound, finding: Finding, rate: float) -> float:
    first, n = round(finding.place_s * ANALYSIS_RATE), round(finding.expected.length_s * rate * ANALYSIS_RATE)
    power = float(np.square(recording.read(first, max(n, 1)), dtype=np.float64).mean())
    return 10 * float(np.log10(max(power, 1e-9)))


def _span(finding: Finding, rate: float) -> tuple[float, float] | None:
    time_s = finding.time_s
    return None if time_s is None else (time_s, time_s + finding.expected.length_s * rate)
