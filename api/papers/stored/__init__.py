"""Papers made of their inputs, kept with the fingerprint of these, and renewed when it is another one."""
