"""A planned week taken up again: planned anew after an event, times offered, holes filled, visits moved by hand."""
