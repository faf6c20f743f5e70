"""A recorded class into a plan of pattern ``script`` and clips of the instructor's own voice."""
