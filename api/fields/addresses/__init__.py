"""Addresses of all kinds, as people and settings write them: of streets, mail, servers and who vouches for people."""
