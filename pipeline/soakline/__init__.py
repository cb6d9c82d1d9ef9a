"""Plan level, water-soaking trenches: elevation and boundary in, one GeoPackage out."""

__version__ = "0.1.0"

from soakline.sealed import seal

# Before anything loads a library that reads files: it looks at the environment once, then.
seal()
