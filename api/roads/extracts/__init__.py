"""A local road extract: cut out of a region, made into tiles, routed on, and drawn on for evidence of real drives."""
