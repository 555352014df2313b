"""Panels together. Pure: numbers in, frozen dataclasses out."""
