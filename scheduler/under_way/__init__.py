"""A day under way: frozen as it goes, retimed in another order, and the ways in which the rest of it can go on."""
