"""Two schedules, or two tracks, side by side: what moved, what is said differently, and by how much."""
