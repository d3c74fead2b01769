"""The master program: rows, cuts, its linear relaxation by column generation, integer programs over its columns."""
