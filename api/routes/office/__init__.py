"""Addresses of the office: signing in, accounts, settings, files, history."""
