"""How the service is: its figures for whoever watches it, and the questions that `eaveboard doctor` asks."""
