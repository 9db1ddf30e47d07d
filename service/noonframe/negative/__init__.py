"""The film negative: from a picture to a film page that prints the right way round and at its size."""
