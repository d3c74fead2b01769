"""The week as arrays, the timing of routes, and plans made of routes."""
