"""Cues measured: where each one is, whether it is whole, and whether it is the right one."""
