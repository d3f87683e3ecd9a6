"""Mustwright: from honey to a mead that finishes; one package per part of the maker's work."""

__version__ = "0.1.0"
