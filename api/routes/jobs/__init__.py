"""Addresses of jobs, their surveys and papers."""
