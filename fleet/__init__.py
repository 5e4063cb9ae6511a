"""Maintenance scheduler for a network of tipping-bucket rain gauges."""
