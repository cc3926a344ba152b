"""probetell: finds the faulty part of a car-audio installation from meter readings."""

__all__ = ["__version__"]

__version__ = "0.1.0"
