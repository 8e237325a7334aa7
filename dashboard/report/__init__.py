"""The owner's week on paper: pages, tables and drawings made of one answer."""
