"""Calls to addresses that somebody typed: never to what lies inside this network, unless a setting lets them."""
