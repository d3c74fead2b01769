"""One visit of a plan of the second format moved, taken out or put in: the routes that it touches timed anew."""
