"""Keyoff: a parasitic-drain and charging-system monitor for vehicle batteries."""

__version__ = "0.1.0"
