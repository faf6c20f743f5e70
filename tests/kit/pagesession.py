"""Sessions for the tests of what is published: invented, and built here without the planner or a voice."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cuelane.base.schedule import Event, Schedule, ScheduledInterval

RATE = 48_000


class Sketch:
    """A schedule put down interval by interval; times in seconds, positions in samples."""

    def __init__(self, title: str, sample_rate: int = RATE) -> None:
        self.title = title
        self.rate = sample_rate
        self.now = 0
        self.sets = 0
        self.intervals: list[ScheduledInterval] = []
        self.events: list[Event] = []

    def interval(
        self,
        kind: str,
        seconds: float,
        *,
        block: str,
        cues: tuple[tuple[float, float, str, str], ...] = (),
        pips: bool = True,
        exercise: str | None = None,
        side: str | None = None,
        number: int | None = None,
        settle: float = 0,
    ) -> None:
        """Add an interval; `cues` are (offset, length, role, text); `pips` close it."""
        start, end = self.now, self.now + round(seconds * self.rate)
        index = len(self.intervals)
        set_index = None
        if kind == "work":
            set_index, self.sets = self.sets, self.sets + 1
        self.intervals.append(
            ScheduledInterval(
                index, block, kind, number, exercise, side, start, end, round(settle * self.rate), set_index
            )
        )
        for offset, length, role, text in cues:
            onset = start + round(offset * self.rate)
            self._event("cue", role, index, onset, onset + round(length * self.rate), text)
        if pips:
            for before in (3, 2, 1):
                onset = end - before * self.rate
                self._event("pip", "short", index, onset, onset + self.rate // 10, None)
            self._event("pip", "long", index, end, end + self.rate // 2, None)
        self.now = end

    def _event(self, kind: str, role: str, index: int, onset: int, end: int, text: str | None) -> None:
        pitch = None if kind == "cue" else 880.0 if role == "short" else 1320.0
        name = f"e{len(self.events) + 1:04d}"
        self.events.append(Event(name, kind, role, index, onset, end, text, frequency_hz=pitch))

    def done(self, **extra: object) -> Schedule:
        """Return the schedule, with a second after the last interval for its long pip."""
        events = tuple(sorted(self.events, key=lambda event: event.onset_sample))
        return Schedule(
            self.title, "en", self.rate, self.now + self.rate, tuple(self.intervals), events, (), dict(extra)
        )


CAUTIONS = [
    "Ask a doctor or physiotherapist before you start if you have a heart condition or an injury.",
    "Stop at once if you feel pain, chest discomfort, dizziness or unusual shortness of breath.",
]


def boathouse() -> Schedule:
    """Return a quarter of an hour: words, a warm-up flow, a build-up with sides, box breathing, words."""
    sketch = Sketch("Boathouse legs")
    sketch.interval(
        "talk", 18, block="Opening", pips=False,
        cues=((0.5, 6, "say", "Boathouse legs. You will need one dumbbell and a bench."),
              (7.5, 9, "caution", "If you have a heart condition or an injury, ask a doctor first.")),
    )  # fmt: skip
    for name in ("ankle rocks", "hip circles", "easy squats", "arm swings"):
        sketch.interval(
            "work", 30, block="Warm-up", exercise=name,
            cues=((0.8, 1.2, "announce", f"{name.capitalize()}."), (4, 4, "setup", "Slowly, as is easy.")),
        )  # fmt: skip
    names = ("goblet squat", "reverse lunge", "hip hinge", "calf raise")
    for number in range(1, len(names) + 1):
        for place, name in enumerate(names[:number]):
            side = ("left", "right")[number % 2] if name == "reverse lunge" else None
            cues = (
                (1, 1.5, "announce", f"{name.capitalize()}{f', {side} side' if side else ''}."),
                (
                    4,
                    3.5,
                    "setup" if place == number - 1 else "form",
                    "Weight at your chest, elbows under it.",
                ),
                (30, 1.2, "time", "Ten seconds left."),
            )
            sketch.interval(
                "work", 40, block="Legs", exercise=name, side=side, number=number, settle=5, cues=cues
            )
            if place < number - 1:
                sketch.interval("change", 5, block="Legs", number=number, pips=False)
        if number < len(names):
            text = f"Rest. Next: {names[0]}, then one more, the {names[number]}."
            sketch.interval("rest", 25, block="Legs", number=number, cues=((1, 4.5, "preview", text),))
    for number in range(1, 7):
        for kind, text in (
            ("in", "Breathe in."),
            ("hold", "Hold."),
            ("out", "Breathe out."),
            ("hold", "Wait."),
        ):
            cues = ((0.1, 0.9, "say", text),) if number < 3 else ()
            sketch.interval(kind, 4, block="Breathing", number=number, cues=cues, pips=False)
    sketch.interval(
        "talk", 12, block="Close", pips=False, cues=((1, 5, "say", "That is the session. Walk it off."),)
    )
    return sketch.done(
        cautions=CAUTIONS, voice={"name": "natural", "credit": "Joe, CC0"}, author="The Boathouse"
    )


def long_day(hours: int = 4, events: int = 3000) -> Schedule:
    """Return a session of `hours` of at least `events` cues and pips."""
    sketch = Sketch("All day at the boathouse")
    rounds = max(1, hours * 3600 // 360)
    per_interval = max(1, events // (rounds * 6))
    names = ("row", "carry", "step up", "press", "plank", "swing")
    for number in range(1, rounds + 1):
        for name in names:
            cues = tuple(
                (1 + 3 * n, 2, "form", f"Cue {n + 1} of {name}, round {number}.") for n in range(per_interval)
            )
            sketch.interval(
                "work",
                40,
                block="Long circuit",
                exercise=name,
                number=number,
                cues=cues,
                pips=number % 3 == 0,
            )
            sketch.interval(
                "rest",
                20,
                block="Long circuit",
                number=number,
                cues=((2, 2, "preview", "Next."),),
                pips=False,
            )
    return sketch.done(cautions=CAUTIONS)


HOSTILE = (
    "</script><script>window.broken=1</script>",
    "<img src=x onerror=window.broken=1>",
    "\"' onmouseover=window.broken=1 x='",
    "a\u2028b\u2029c",
    "\u202egnp.evil\u202c \u2066open",
    "{{ 7*7 }}{% raw %}",
    "]]><!-- -->&lt;b&gt;",
    "[link](javascript:window.broken=1) `code` **bold** | cell\n# head",
    "\x00\x07\ud800",
    "w" * 300,
)


def hostile() -> Schedule:
    """Return a session whose every text tries to get out of its place."""
    sketch = Sketch(HOSTILE[0] + HOSTILE[2])
    for text in HOSTILE:
        sketch.interval(
            "work", 12, block=text, exercise=text, side=text, number=1, cues=((1, 2, text, text),)
        )
        sketch.interval("rest", 8, block=text, number=1, cues=((1, 2, "say", text),))
    return sketch.done(
        cautions=list(HOSTILE), voice={"name": HOSTILE[1], "credit": HOSTILE[0]}, author=HOSTILE[1]
    )


def sound_of(schedule: Schedule, block: int = 65_536) -> Iterator[np.ndarray]:
    """Yield the schedule's audio, shape (n,), float32: pips as tones, cues as falling bursts of noise."""
    rng = np.random.default_rng(7)
    waiting = sorted(schedule.events, key=lambda event: event.onset_sample)
    for start in range(0, schedule.n_frames, block):
        samples = np.zeros(min(block, schedule.n_frames - start), dtype=np.float32)
        stop = start + len(samples)
        waiting = [event for event in waiting if event.end_sample > start]
        for event in waiting:
            if event.onset_sample >= stop:
                break
            a, b = max(event.onset_sample, start), min(event.end_sample, stop)
            at = np.arange(a - event.onset_sample, b - event.onset_sample)
            if event.frequency_hz:
                sound = 0.4 * np.sin(2 * np.pi * event.frequency_hz * at / schedule.sample_rate)
            else:
                syllables = 0.5 - 0.5 * np.cos(2 * np.pi * 4 * at / schedule.sample_rate)
                sound = 0.25 * syllables * rng.standard_normal(len(at))
            samples[a - start : b - start] += sound.astype(np.float32)
        yield np.clip(samples, -1, 1)
