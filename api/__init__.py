"""The service round the planning core: database, pages, command line."""
