"""Where addresses are: asked of a service or a file of addresses, kept, and checked by a pin on a map."""
