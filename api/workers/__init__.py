"""Several workers on one database: what each tells the others, turns they wait for, what the leader alone does."""
