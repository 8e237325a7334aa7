"""One file a door: the addresses that are not pages."""
