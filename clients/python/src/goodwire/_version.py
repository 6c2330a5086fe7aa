"""The version of this package, which stands in its metadata alone."""

from importlib import metadata

PACKAGE_VERSION = metadata.version("goodwire")
