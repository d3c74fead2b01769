"""Services that come back every year: which are due, and the visits that they make by themselves."""
