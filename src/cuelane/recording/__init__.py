"""What every use of a recording needs: decoding it, recognising words in it, cutting clips from it."""
