"""The chain of hashes over what is only ever added to: sealed while the service runs, checked on request."""
