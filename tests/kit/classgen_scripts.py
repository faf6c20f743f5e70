"""Three whole classes of our own as they would be spoken, and one short one: greetings, asides and all.

A line that begins with ``@-10|`` starts ten seconds before its interval's end; all others follow one another.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from classgen import KINDS, BeepKind, GeneratedClass, TrueInterval, TrueWord, tone
from classgen_speech import SAMPLE_RATE, Array, Spoken


@dataclass(frozen=True)
class ClassScript:
    """What is said: before, in each set and in the rest before it, and after. The first set has no rest."""

    title: str
    exercises: tuple[str, ...]
    rounds: int
    before: tuple[str, ...]
    sets: tuple[tuple[str, ...], ...]
    rests: tuple[tuple[str, ...], ...]
    after: tuple[str, ...]


QUAYSIDE = ClassScript(
    "Quayside strength",
    ("goblet squat", "bent over row", "dead bug"),
    3,
    (
        "Hi everyone, I'm Ines, and welcome to my channel.",
        "You'll need one dumbbell and a mat.",
        "Before we start, hit the subscribe button.",
    ),
    (
        (
            "Goblet squat. Weight held at your chest, feet a bit wider than your hips.",
            "Keep your heels heavy.",
            "Watch how my knees move here.",
            "If your knees complain, sit down to a chair.",
            "@-10|Ten seconds left.",
        ),
        (
            "Bent over row. Hinge at your hips and let the weight hang.",
            "Pull your elbow towards your back pocket.",
            "Sorry about that, that's my dog.",
            "Keep your neck long.",
            "@-12|When it beeps, put the weight down.",
        ),
        (
            "Dead bug. Lie on your back with your arms and knees up.",
            "Press your lower back into the mat.",
            "If you have a bad neck, put a cushion under your head.",
            "@-20|You're halfway there.",
            "@-8|Lovely, stay with it.",
        ),
        (
            "Goblet squat.",
            "Knees over your toes.",
            "For more, pause at the bottom for two.",
            "This is round two of three.",
            "@-10|Ten seconds left.",
        ),
        (
            "Bent over row.",
            "Shoulders away from your ears.",
            "To make it harder, slow it down on the way back.",
            "Great work, everybody.",
        ),
        (
            "Dead bug.",
            "Breathe out as your leg goes away.",
            "Only go as far as your back stays down.",
            "@-10|Last ten seconds.",
        ),
        ("Goblet squat.", "Chest proud, eyes forward.", "Push the floor away.", "@-10|Ten to go."),
        ("Bent over row.", "Squeeze at the top.", "Your back stays flat and quiet.", "You've got this."),
        ("Dead bug.", "Slow and smooth.", "@-20|Halfway.", "@-10|Last ten seconds of the class."),
    ),
    (
        ("And rest. Shake it out.", "Next up is the bent over row, so keep the dumbbell."),
        ("And rest.", "Coming up, the dead bug, on your back.", "Be careful as you get down to the floor."),
        ("Rest. Have a sip of water.", "Next is the goblet squat again."),
        ("And rest.", "Let me fix my ponytail.", "Bent over row next."),
        ("Take a breather.", "Well done, that was tough."),
        ("Rest. Last round coming.", "Pick up your weight for the goblet squat."),
        ("And rest.", "Tell me in the comments how you are doing."),
        ("Shake it out.", "One to go."),
    ),
    ("Well done, you made it.", "Walk around for a minute before you sit down.", "See you next week, bye."),
)

MORNING = ClassScript(
    "Morning mobility",
    ("cat and cow", "thread the needle", "hip circles", "child's pose"),
    2,
    ("Good morning, everybody.", "Today is all about your hips and your back.", "Is this microphone on?"),
    (
        (
            "Cat and cow. Hands and knees, hands under your shoulders.",
            "Let your head come last.",
            "Breathe in as your belly drops.",
            "@-12|Keep it slow.",
        ),
        (
            "Thread the needle. Slide your right arm under your chest.",
            "Let your shoulder get heavy.",
            "You can put a cushion under your head.",
            "@-10|Ten more seconds here.",
        ),
        (
            "Hip circles. Stay on your hands and knees and draw a circle with one knee.",
            "Like this, not like that.",
            "Keep your elbows straight.",
            "If your wrist hurts, come down to your forearms.",
        ),
        (
            "Child's pose. Sit back on your heels and reach your arms long.",
            "Breathe into your back.",
            "The cat has decided to join us.",
            "@-15|Fifteen seconds left.",
        ),
        ("Cat and cow.", "Move with your breath.", "Press the floor away.", "@-10|Ten seconds."),
        (
            "Thread the needle.",
            "Now the left arm.",
            "Let your chest turn.",
            "For more, reach your top arm over your head.",
        ),
        ("Hip circles.", "Make the circle bigger if it feels good.", "Other knee now.", "Beautiful."),
        ("Child's pose.", "Soften your jaw.", "Let your forehead rest.", "@-10|Last ten seconds."),
    ),
    (
        ("And relax.", "Next it's thread the needle, stay on the floor."),
        ("And rest.", "Up next, hip circles."),
        ("Let it go.", "After this it's child's pose."),
        ("Rest there.", "Second round now, back to cat and cow."),
        ("And relax.",),
        ("And rest.", "You're doing so well."),
        ("And let go.", "Last one is child's pose."),
    ),
    ("Roll your shoulders and come up to sitting, slowly.", "Thank you for joining me, see you tomorrow."),
)

STAIRWELL = ClassScript(
    "Stairwell intervals",
    ("single steps", "side steps", "high knees"),
    2,
    (
        "Hello, and welcome back to the stairs.",
        "Make sure the steps are dry and you can reach the rail.",
        "This should feel like a seven out of ten.",
    ),
    (
        (
            "Single steps. Whole foot on each step, and walk up at your own pace.",
            "Drive through your heel.",
            "Stay tall, don't lean on the rail.",
            "@-10|Ten seconds to go.",
        ),
        (
            "Side steps. Turn your right side to the stairs and lead with the right foot.",
            "Keep your toes pointing forward.",
            "Hold the rail if you feel wobbly.",
            "@-10|When it beeps, turn and walk down.",
        ),
        (
            "High knees. Stay at the bottom and lift your knees to hip height.",
            "Quick, quiet feet.",
            "You can march if the jumping is too much.",
            "@-15|Fifteen seconds, come on.",
        ),
        (
            "Single steps.",
            "Swing your arms.",
            "If you feel strong, take two at a time.",
            "That's the postman, ignore him.",
            "@-10|Ten seconds to go.",
        ),
        ("Side steps.", "Left side this time.", "Push the step away.", "@-10|Last ten seconds."),
        ("High knees.", "Land softly.", "As you can see, my chest stays up.", "Keep going, you can do this."),
    ),
    (
        ("And recover. Walk down slowly.", "Side steps are next.", "Watch your step on the way down."),
        ("Rest. Get your breath back.", "Next up, high knees."),
        ("Good job on that round.", "Stop there and breathe."),
        ("And rest.", "Stop if you feel dizzy."),
        ("Recover.", "High knees to finish."),
    ),
    ("Walk until your breath is easy.", "If you liked this, share it with a friend."),
)

SHORT = ClassScript(
    "Short legs",
    ("goblet squat", "plank"),
    2,
    ("Hello everyone and welcome to this class.",),
    (
        ("Goblet squat. Weight held at your chest.", "Keep your heels heavy.", "@-9|Five seconds left."),
        (
            "Plank. Elbows under your shoulders.",
            "Watch how my back stays flat here.",
            "Long neck, soft shoulders.",
        ),
        ("Goblet squat.", "Press the floor away."),
        ("Plank.", "Great work, stay with it."),
    ),
    (("And rest.", "Next up is the plank."), ("And rest. Shake it out.",), ("Rest.",)),
    ("Well done, everyone.",),
)

WHOLE = (QUAYSIDE, MORNING, STAIRWELL)


def speak_script(
    script: ClassScript,
    speak: Callable[[str], Spoken],
    *,
    work_s: float = 40.0,
    rest_s: float = 20.0,
    kind: BeepKind = KINDS[0],
    seed: int = 1,
    noise_dbfs: float = -62.0,
) -> GeneratedClass:
    """Return the class that is spoken so, in a quiet room, with its truth."""
    rng = np.random.default_rng(seed)
    lead_s = 6.0 + sum(len(speak(text).samples) / SAMPLE_RATE + 0.8 for text in script.before)
    tail_s = 4.0 + sum(len(speak(text).samples) / SAMPLE_RATE + 0.8 for text in script.after)
    n_sets = len(script.sets)
    total_s = lead_s + n_sets * work_s + (n_sets - 1) * rest_s + tail_s
    made = _Talk(np.zeros(round(total_s * SAMPLE_RATE), np.float32), speak, rng)
    made.run(script.before, 0.8, lead_s - kind.count * kind.spacing_s)
    intervals: list[TrueInterval] = []
    now = lead_s
    made.countdown(kind, now)
    for number, lines in enumerate(script.sets):
        parts = [("work", work_s, lines)]
        if number < n_sets - 1:
            parts.append(("rest", rest_s, script.rests[number]))
        for name, length_s, texts in parts:
            made.run(texts, now + kind.long_s + 0.4, now + length_s - kind.count * kind.spacing_s - 0.2)
            intervals.append(TrueInterval(name, now, now + length_s))
            now += length_s
            made.countdown(kind, now)
    made.run(script.after, now + kind.long_s + 1.0, total_s)
    noise = rng.standard_normal(len(made.track)).astype(np.float32) * np.float32(10 ** (noise_dbfs / 20))
    return GeneratedClass(
        made.track + noise, intervals, made.beeps, made.words, made.phrases, kind, made.track
    )


class _Talk:
    """A track on which lines are laid one after another, and countdowns."""

    def __init__(self, track: Array, speak: Callable[[str], Spoken], rng: np.random.Generator) -> None:
        self.track, self._speak, self._rng = track, speak, rng
        self.words: list[TrueWord] = []
        self.phrases: list[tuple[str, float, float]] = []
        self.beeps: list[tuple[float, float, float]] = []

    def run(self, texts: Sequence[str], start_s: float, end_s: float) -> None:
        """Say `texts` from `start_s`; one that would not end by `end_s` is an error in the script."""
        at_s = start_s
        for text in texts:
            mark, bar, line = text.partition("|")
            pause_s = float(self._rng.uniform(0.9, 2.2))
            if bar:
                # The interval's end is later than the end of talk by its countdown.
                at_s = max(at_s, end_s + 3.2 + float(mark[1:]))
            spoken = self._speak(line if bar else text)
            length_s = len(spoken.samples) / SAMPLE_RATE
            assert at_s + length_s <= end_s + 0.05, (
                f"no room for {text!r}: {at_s + length_s:.1f} of {end_s:.1f} s"
            )
            self._lay(spoken.samples, at_s)
            first = round(at_s * SAMPLE_RATE)
            own = [
                TrueWord(w.text, (first + w.onset_sample) / SAMPLE_RATE, (first + w.end_sample) / SAMPLE_RATE)
                for w in spoken.words
            ]
            self.words += own
            self.phrases.append((line if bar else text, own[0].onset_s, own[-1].end_s))
            at_s += length_s + pause_s

    def countdown(self, kind: BeepKind, boundary_s: float) -> None:
        for index in range(kind.count):
            onset_s = boundary_s - (kind.count - index) * kind.spacing_s
            self._lay(tone(kind, long=False), onset_s)
            self.beeps.append((onset_s, kind.short_s, kind.frequency_hz))
        self._lay(tone(kind, long=True), boundary_s)
        self.beeps.append((boundary_s, kind.long_s, kind.long_frequency_hz))

    def _lay(self, wave: Array, at_s: float) -> None:
        first = round(at_s * SAMPLE_RATE)
        self.track[first : first + len(wave)] += wave[: max(0, len(self.track) - first)]
