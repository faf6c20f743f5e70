"""What every page of the program shares: its shell, its look and safe text."""
