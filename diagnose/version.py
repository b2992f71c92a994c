"""The version of the program: what the wheel is named by and ``rowfault --version`` prints."""

__version__ = "0.1.0"
