"""What falls: which posted visit cannot go as it is posted, from the rows as they are now."""
