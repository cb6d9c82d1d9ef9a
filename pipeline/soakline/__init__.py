"""Plan level, water-soaking trenches on hill ground: elevation and boundary in, one GeoPackage out."""

__version__ = "0.1.0"
