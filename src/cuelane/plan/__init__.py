"""What a person writes: models, YAML with positions, messages, limits."""
