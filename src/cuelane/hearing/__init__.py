"""What a listener hears of a track: speech over music, room for it, and safe listening."""
