"""Addresses of rebooking, messages and promised times."""
