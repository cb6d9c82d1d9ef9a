"""Whole plans on ground whose answer is known: DEM and boundary in, GeoPackage out."""
