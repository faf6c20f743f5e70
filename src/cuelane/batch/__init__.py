"""Many tracks at once: plans by variants, voices and formats, each made only if it must be."""
