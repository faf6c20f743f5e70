"""Sound as the program holds it: a clip, the store of clips, and the tones of pips."""
