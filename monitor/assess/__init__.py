"""Stands and drives turned into what a practitioner decides with."""

from monitor.assess.assessment import assess

__all__ = ["assess"]
