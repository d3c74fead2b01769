"""What is on record: the history, what is posted, what was told, and the facts a week is built of. Read by all."""
