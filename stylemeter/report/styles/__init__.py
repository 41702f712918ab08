"""Styles: listings of profiles and collections, calibration tables and plots."""
