"""The words of a recorded class: read from captions or recognised, placed, and made into cues."""
