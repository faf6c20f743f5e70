"""Recordings of a script, read by a person, into the clips of a recorded voice."""
