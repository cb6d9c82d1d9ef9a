"""Plan level, water-soaking trenches: elevation and boundary in, one GeoPackage out."""

__version__ = "0.1.0"
