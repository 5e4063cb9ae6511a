"""An invented island country and its rain gauges, simulated day by day."""
