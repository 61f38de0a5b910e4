"""Snow cases by the standards, behind one small interface."""

from roofmodel.snow.inputs import AsceSite, DirectSite, EnSite, SnowLayer
from roofmodel.snow.registry import snow_cases

__all__ = ["AsceSite", "DirectSite", "EnSite", "SnowLayer", "snow_cases"]
