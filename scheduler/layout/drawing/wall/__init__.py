"""The elevation: the wall from the front, its names and its running dimensions."""
