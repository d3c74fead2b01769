"""What every answer shares: pages, assets, problems, headers, versions of rows, and writes that may be repeated."""
