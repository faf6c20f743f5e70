"""cuelane: a session plan in, one voice-guided audio track out, timing proved from the waveform."""

__version__ = "0.1.0"
