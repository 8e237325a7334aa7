"""One file a format: the project folder, tables, GeoPackage."""
