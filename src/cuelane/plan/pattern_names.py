"""The names of the patterns, in the order in which they are offered.

They stand by themselves for what lists patterns without reading a plan: the model takes long to import.
"""

PATTERNS = (
    "circuit",
    "build-up",
    "build-up-and-down",
    "build-down",
    "ladder",
    "on-the-minute",
    "flow",
    "breath",
    "script",
)
