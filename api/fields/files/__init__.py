"""Tables and settings that come as files: their columns, and how cells are read and written."""
