"""A plan that uses every pattern and nearly every key, for tests of reading plans."""

FULL_PLAN = """\
# yaml-language-server: $schema=plan.schema.json
title: Every pattern once
language: en
voice: natural
author: A. Coach
date: 2026-05-31
description: All that a plan can hold.
pips: {count: 3, spacing: 1s}
cautions:
  - Clear the floor around you.
lead_in: 10s
calls: [30s, 10s]
gap: 400ms
guard: 0.25
talk_share:
  work: 0.5
  rest: 0.8
closing: Well done.
activity: 02214
body_mass_kg: 70
allow: [no-warm-up]
session:
  - block: Warm-up
    pattern: flow
    work: 30s
    change: 3s
    exercises: [arm circles, leg swings]
  - say: Now the main part.
    lasts: 8s
  - block: Circuit
    pattern: circuit
    work: 40s
    settle: 5s
    rest: 20s
    round_rest: 1m
    rounds: 2
    last_rest: true
    pips: false
    say: Two rounds.
    calls: 15s
    praise: [Good work.]
    exercises:
      - squat
      - exercise: lunge
        work: 30s
        rest: 15s
        settle: 3s
  - rest: 1:30
  - block: Build
    pattern: build-up-and-down
    work: 20
    rest: 25s
    change: 5s
    exercises: [squat, lunge, side plank]
  - block: Ladder
    pattern: ladder
    work: [20s, 30s, 40s]
    rest: 15s
    exercises: squat
  - block: Minutes
    pattern: on-the-minute
    every: 60s
    work: 35s
    rounds: 3
    exercises: [squat, side plank]
  - block: Breath
    pattern: breath
    inhale: 4s
    hold: 2s
    exhale: 6s
    hold_out: 2s
    cycles: 5
    spoken_cycles: 2
    caution: Breathe normally if you feel light-headed.
  - block: Script
    pattern: script
    intervals:
      - kind: work
        length: 20s
        exercise: shoulder taps
        side: left
        round: 1
        settle: 2s
        countdown: false
        cues:
          - at: 5s
            text: Slow taps.
            role: form
            must: false
      - kind: rest
        length: 10s
exercises:
  arm circles:
  leg swings: {}
  squat:
    needs: one dumbbell
    load: [quads, glutes]
    work: 45s
    preview: Squat next, weight at your chest.
    setup: Sit down between your heels.
    remind: Back to the squat.
    form:
      - Knees track over your toes.
      - text: Keep your heels heavy.
        rounds: [2, 3]
        weight: 50
        must: false
        at: 12s
        allow: too-long
    easier: Use a chair.
    harder: Three seconds down.
    caution: Stop if your knee hurts.
    change: Leave the dumbbell on the bench.
    praise: Strong.
    say: Halfway there.
    announce: Goblet squat.
  lunge:
    sides: alternate
    first_side: right
    settle: 4s
    setup: "{side} leg goes back first."
    change: "Then the {other_side} one."
  side plank:
    sides: each
    rest: 10s
    setup: Elbow under your shoulder.
"""
EXERCISE_NAMES = ("arm circles", "leg swings", "squat", "lunge", "side plank")
