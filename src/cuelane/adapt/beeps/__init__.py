"""The beeps of a recorded class: what they sound like, and which boundaries they mark."""
