"""Pips measured: where each one is, how high and how long."""
