"""What the office enters kind by kind: people, crews, vans, ladders, yards, shelves, each by page and by table.

A kind is a declaration (`kinds.py`); lists, forms, files, the history and undoing are made of it.
"""
