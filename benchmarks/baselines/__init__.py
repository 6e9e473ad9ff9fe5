"""What trayopt is compared with: two plain models, the habit of the trade, and local search."""
