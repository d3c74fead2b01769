"""The planning core: plain functions over plain typed values; no database, web, clock, chance or environment."""
