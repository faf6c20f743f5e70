"""Texts to clips: voice definitions, engines, how words are prepared, what all clips have in common.

``engines`` is the one place where an engine is registered; ``definition`` says what one must offer.
``voices`` finds a definition, ``speak`` turns texts into clips through the clip store, ``estimate`` says how
long they will take without speaking them, ``prepare`` shows how they will be said.
"""
