"""Cue timing measured in the waveform: where every pip and cue of a schedule is in a file, and what is wrong.

Reads only audio and a schedule, and shares no placing, rounding or rendering code with what made them, so
that it can contradict the renderer. :func:`cuelane.check.run.check` is the way in.

The onset of a cue is the first sample of its clip; of a pip, its first sample that is not zero. Times are
counted in samples of the decoded sound, never taken from packet times.

Tolerances
----------
The default is 5 ms for pips and 20 ms for cues, 50 ms for cues that have no template. For comparison:

- onset evaluation counts a detected onset within 50 ms as right: ``mir_eval.onset.f_measure(window=0.05)``
  (read in its source), after MIREX (from memory);
- EBU R37: sound against picture at most 40 ms early or 60 ms late at the transmitter's input, 5 and 15 ms
  for one stage of production (values from a secondary source);
- ITU-R BT.1359-1: such an error is noticed from 45 ms early and 125 ms late on, and accepted up to 90 ms
  early and 185 ms late (read in an excerpt of the recommendation);
- Friberg and Sundberg 1995, JASA 98: one displaced tone in a steady row is noticed from 2.5 % of the
  interval on, 6 ms for intervals under 240 ms (read in the abstract): 25 ms in a countdown of seconds.

Ours are stricter than all of them, because a file can be that exact.

Departures from ``mir_eval``: pairing is its maximum one-to-one matching, but of equal pairings the one with
the least total error is taken, and what is left over is paired at any distance, so that a cue that moved is
one late cue (fewer misses); an error of exactly the tolerance is within it.
"""
