"""What finished jobs and drives teach: their history, times fitted to it, and taking them over."""
