"""Makes cues of words: splits at pauses and boundaries, finds roles, marks what a listener cannot use."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cuelane.adapt.words.intervals import FoundInterval
from cuelane.adapt.words.islands import Hearing, Island, Quiet
from cuelane.adapt.words.placed_word import PlacedWord
from cuelane.adapt.words.role_judge import SURE, JudgedRole, RoleJudge, Where, plan_role
from cuelane.adapt.words.word_lists import WordLists
from cuelane.base.roles import Role
from cuelane.plan.values import MAX_TEXT

# Chosen: longer joins two cues, shorter cuts one at a comma.
PAUSE_S = 0.45
# Chosen: room kept around a cue's words; a voice dies away more slowly than it begins.
LEAD_S, TAIL_S = 0.12, 0.30
# Chosen: a longer cue can hardly be moved off a pip; it is split at its widest gap.
LONGEST_S = 30.0
# Chosen: longer than the closure of a p, t or k, shorter than any pause between sentences.
SHORTEST_QUIET_S = 0.15
# Chosen: how far a placed word may be from the quiet in which the cut is made; more takes in a neighbour's
# sound.
FARTHEST_S = 0.6
# What calls, praises or rests shows nothing.
_NO_PICTURE = ("praise", "time", "rest", "announce")
_ENDS = (".", "!", "?")
ROOM_SOUND = "sound from the room, or words that no caption has"
OVER_BEEP = "spoken over a beep"
UNSURE = "the words may be placed wrongly"


@dataclass(frozen=True)
class FoundCue:
    """One cue of the recording: where its clip is cut, what it says, and the reasons against keeping it.

    ``keep`` is a proposal; a person's decisions come after it. ``notes`` are doubts that do not drop the cue.
    ``judged`` is what it is for, ``share`` how likely that is (0 to 1), ``second`` what else it may be for.
    """

    start_s: float
    end_s: float
    text: str
    role: Role
    interval: int
    reasons: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    words: tuple[PlacedWord, ...] = ()
    judged: str = ""
    share: float = 1.0
    second: str = ""

    @property
    def purpose(self) -> str:
        """What it is for: a role, or ``rest``, ``aside``, ``housekeeping``, for which a plan has no role."""
        return self.judged or self.role

    @property
    def is_sure(self) -> bool:
        """Whether what it is for is sure enough not to be asked about."""
        return self.share >= SURE

    @property
    def keep(self) -> bool:
        return not self.reasons


def find_cues(
    words: Sequence[PlacedWord],
    intervals: Sequence[FoundInterval],
    hearing: Hearing,
    lists: WordLists,
    judge: RoleJudge,
) -> list[FoundCue]:
    """Return the cues that `words` make, in order of time."""
    quiet = hearing.quiet()
    groups = _split(words, intervals, quiet, lists)
    found: list[FoundCue] = []
    seen: set[int] = set()
    for number, group in enumerate(groups):
        before_s = groups[number - 1][-1].end_s if number else 0.0
        after_s = groups[number + 1][0].onset_s if number + 1 < len(groups) else hearing.seconds
        start, end = _edges(group, before_s, after_s, hearing, quiet)
        text = _whole(" ".join(word.text for word in group))[:MAX_TEXT]
        index = _interval_at(intervals, group[0].onset_s)
        where = _where(intervals, index, is_first=index not in seen)
        judged = judge.judge(text, where)
        if not lists.is_call(text):
            # "Last round" is not what a set begins with.
            seen.add(index)
        notes = []
        if not all(word.sure for word in group):
            notes.append(UNSURE)
        if any(a < group[-1].end_s and b > group[0].onset_s for a, b in hearing.beeps):
            notes.append(OVER_BEEP)
        reasons = _reasons(text, judged, lists)
        found.append(
            FoundCue(
                start,
                end,
                text,
                plan_role(judged.name),
                index,
                reasons,
                tuple(notes),
                tuple(group),
                judged.name,
                round(judged.share, 3),
                judged.second,
            )
        )
    return found


def _whole(text: str) -> str:
    """Return `text` as a sentence of its own, if its caption has marks; a part begins amid one."""
    text = f"{text.rstrip(',;:')}." if text.endswith((",", ";", ":")) else text
    # Most captions that programs write have neither marks nor capitals.
    return text[:1].upper() + text[1:] if text.endswith(_ENDS) else text


def _reasons(text: str, judged: JudgedRole, lists: WordLists) -> tuple[str, ...]:
    """Return why a listener has no use for `text`; nothing if they have."""
    found = lists.reasons(text)
    if found == (lists.picture_reason,) and judged.is_sure and judged.name == "housekeeping":
        # "See you next time" needs no picture, and nobody would want other words for it.
        return (lists.out_reason(judged.name),)
    if found == (lists.picture_reason,) and judged.is_sure and judged.name in _NO_PICTURE:
        # "You've got this" is praise, and shows nothing.
        found = ()
    return found or ((lists.out_reason(judged.name),) if judged.is_out else ())


def untexted(
    islands: Sequence[Island],
    cues: Sequence[FoundCue],
    intervals: Sequence[FoundInterval],
    *,
    reason: str = ROOM_SOUND,
) -> list[FoundCue]:
    """Return the sounds that belong to no cue, as cues without words, each for the `reason` given."""
    found = []
    for island in islands:
        overlap = any(cue.start_s < island.end_s and island.start_s < cue.end_s for cue in cues)
        if not overlap and island.end_s - island.start_s >= 0.25:
            minutes, seconds = divmod(island.start_s, 60)
            text = f"(sound at {int(minutes)}:{seconds:04.1f})"
            index = _interval_at(intervals, island.start_s)
            found.append(FoundCue(island.start_s, island.end_s, text, "say", index, (reason,)))
    return found


def _split(
    words: Sequence[PlacedWord], intervals: Sequence[FoundInterval], quiet: Quiet, lists: WordLists
) -> list[list[PlacedWord]]:
    ends = [interval.end_s for interval in intervals[:-1]]
    groups: list[list[PlacedWord]] = []
    for word in words:
        last = groups[-1][-1] if groups else None
        crosses = last is not None and any(last.onset_s < end <= word.onset_s + 0.05 for end in ends)
        called = last is not None and _is_called(groups[-1], word, quiet, lists)
        if last is None or crosses or called or _pauses_between(last, word, quiet):
            groups.append([word])
            continue
        groups[-1].append(word)
        if word.end_s - groups[-1][0].onset_s > LONGEST_S:
            groups[-1:] = _halves(groups[-1])
    return [part for group in groups for part in _without_last_call(group, quiet, lists)]


def _is_called(group: Sequence[PlacedWord], word: PlacedWord, quiet: Quiet, lists: WordLists) -> bool:
    """Return whether `group` only calls a rest or a time, with quiet between it and `word`.

    "And rest. Squat thrusts next" is wanted without the call, which a plan makes by itself. Without a mark
    behind it, as in most captions, "rest" may begin what follows: `word` must be none of those that "rest
    your knees" goes on with.
    """
    last, text = group[-1], " ".join(one.text for one in group)
    if not lists.is_call(text) or not _may_part(last, word, quiet):
        return False
    return last.text.endswith(_ENDS) or not lists.goes_on(text, word.text)


def _without_last_call(group: list[PlacedWord], quiet: Quiet, lists: WordLists) -> list[list[PlacedWord]]:
    """Return `group`, its last words apart where they only call a time: "lovely work, ten seconds"."""
    for at in range(1, len(group)):
        before, call = group[at - 1], " ".join(one.text for one in group[at:])
        leads_on = not before.text.endswith(_ENDS) and lists.leads_on(before.text)
        if not leads_on and lists.calls_time(call) and _may_part(before, group[at], quiet):
            own = " ".join(one.text for one in group[:at])
            is_whole = lists.is_call(own) or lists.is_paced(own, call)
            return [group] if is_whole else [group[:at], group[at:]]
    return [group]


def _may_part(last: PlacedWord, word: PlacedWord, quiet: Quiet) -> bool:
    """Return whether there is quiet between two words: as between two sentences, or any behind a mark.

    The captions' own mark says where; any quiet there is enough to cut in.
    """
    runs = quiet.within(last.end_s - 0.1, word.onset_s + 0.1)
    return any(end - start >= (0 if last.text.endswith(_ENDS) else SHORTEST_QUIET_S) for start, end in runs)


def _pauses_between(last: PlacedWord, word: PlacedWord, quiet: Quiet) -> bool:
    """Return whether there is a pause: one between the words as placed, and quiet in it.

    A gap full of sound is a word that was placed wrongly, and cutting there would cut it.
    """
    if word.onset_s - last.end_s < PAUSE_S:
        return False
    runs = quiet.within(last.end_s - 0.1, word.onset_s + 0.1)
    return quiet.is_blind or any(end - start >= SHORTEST_QUIET_S for start, end in runs)


def _halves(group: list[PlacedWord]) -> list[list[PlacedWord]]:
    """Return `group` split at the widest gap of its second half."""
    gaps = [(group[k].onset_s - group[k - 1].end_s, k) for k in range(len(group) // 2 + 1, len(group))]
    at = max(gaps)[1] if gaps else len(group) - 1
    return [group[:at], group[at:]]


def _edges(
    group: Sequence[PlacedWord], before_s: float, after_s: float, hearing: Hearing, quiet: Quiet
) -> tuple[float, float]:
    """Return where to cut: in the quiet before the first word and after the last, never inside a word.

    A placed word may be off, so sound that runs up to its onset is taken for its beginning, back to the
    quiet before it, and so at its end.
    """
    first, last = group[0].onset_s, group[-1].end_s
    before = quiet.within(max(before_s - 0.1, first - FARTHEST_S), first + 0.04)
    after = quiet.within(last - 0.15, min(after_s + 0.1, last + FARTHEST_S))
    if before:
        low, high = before[-1]
        start = max((low + high) / 2, high - LEAD_S)
    else:
        low = max(before_s + 0.25 * (first - before_s), first - LEAD_S - 0.10, 0.0)
        start = hearing.quietest(low, max(low, first - 0.05))
    if after:
        low, high = after[0]
        end = min((low + high) / 2 if high < hearing.seconds else high, low + TAIL_S)
    else:
        high = min(after_s - 0.25 * max(0.0, after_s - last), last + TAIL_S + 0.25, hearing.seconds)
        end = hearing.quietest(min(high, last + 0.08), max(high, last + 0.09))
    return max(0.0, start), max(end, start + 0.1)


def _where(intervals: Sequence[FoundInterval], index: int, *, is_first: bool) -> Where:
    """Return where in the class the words of an interval are said."""
    kind = intervals[index].kind
    if kind == "talk":
        return "" if len(intervals) == 1 else "closing" if index else "opening"
    if kind == "rest":
        return "rest"
    return "begin" if is_first else "work"


def _interval_at(intervals: Sequence[FoundInterval], at_s: float) -> int:
    for index, interval in enumerate(intervals):
        if at_s < interval.end_s - 0.05:
            return index
    return len(intervals) - 1
