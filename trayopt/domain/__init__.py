"""F0: frozen data and pure arithmetic of trunks, trays and plans. Imports nothing of trayopt above it."""
