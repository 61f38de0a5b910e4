"""Snow cases by the standards, behind one small interface."""

from roofmodel.snow.inputs import Asce16Site, AsceSite, DirectSite, EnSite, NbccSite, SnowLayer
from roofmodel.snow.registry import snow_cases

__all__ = ["Asce16Site", "AsceSite", "DirectSite", "EnSite", "NbccSite", "SnowLayer", "snow_cases"]
