"""What every answer shares: pages, assets, problems, headers, and versions of rows."""
