"""Texts to clips: voice definitions, three engines, how words are prepared, what all clips have in common.

``voices`` finds a definition, ``speak`` turns texts into clips through the clip store, ``estimate`` says how
long they will take without speaking them, ``prepare`` shows how they will be said.
"""
