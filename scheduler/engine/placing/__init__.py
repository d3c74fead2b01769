"""A standing plan with one job put in: the rest keeps crew, day, order and, to half an hour, its starts."""
