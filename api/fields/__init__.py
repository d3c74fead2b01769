"""How values are typed, checked and shown, the same for JSON, forms and tables that come as files."""
