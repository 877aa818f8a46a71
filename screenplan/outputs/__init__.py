"""What is written: GeoJSON, GeoPackage, the run record, the report."""
